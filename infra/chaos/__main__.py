"""Try to break a whole service.

    python -m infra.chaos kills --films 200 --redis-url redis://127.0.0.1:6379/9
    python -m infra.chaos damaged --films 300 --redis-url redis://127.0.0.1:6379/9

``kills`` starts a PostgreSQL server of its own (initdb and pg_ctl must be installed), an S3 server
(moto) behind a proxy that fails, a small disk for temporary files (tmpfs; root), API and workers;
sends short films; kills workers, jobs, decoders, supervisor and API (with its webhook sender),
crashes the database, empties Redis, fills the disk; waits until all has ended. Exit code 1 when a
result or webhook is lost or doubled. ``damaged`` sends damaged films, with sound ones between them,
while decoders are killed. Exit code 1 when a worker died, something internal went wrong, or a film
was blamed for what the machine did. Redis is given; ``kills`` empties it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from infra.chaos import damaged, kills


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(
        prog="python -m infra.chaos",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    ways = parser.add_subparsers(required=True)
    killing = ways.add_parser("kills", help="kill parts while films are analysed")
    killing.add_argument("--films", type=int, default=200)
    killing.add_argument("--workers", type=int, default=2)
    killing.add_argument("--seed", type=int, default=1)
    killing.add_argument("--store-fails", type=float, default=0.1, help="share of calls, 0 to 1")
    killing.add_argument("--redis-url", required=True, help="a database of its own: it is emptied")
    killing.set_defaults(run=kills.run)
    damage = ways.add_parser("damaged", help="send damaged films")
    damage.add_argument("--films", type=int, default=300)
    damage.add_argument("--workers", type=int, default=2)
    damage.add_argument("--seed", type=int, default=1)
    damage.add_argument("--redis-url", required=True)
    damage.add_argument("--log", help="file to keep the service's log in")
    damage.set_defaults(run=damaged.run)
    for way in (killing, damage):
        way.add_argument("--longest-s", type=float, default=7200.0, help="end after these seconds")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="servewright-chaos-") as folder:
        return 0 if arguments.run(arguments, Path(folder)) else 1


if __name__ == "__main__":
    sys.exit(main())
