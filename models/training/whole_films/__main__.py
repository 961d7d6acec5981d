"""Events of whole films: the steps ``event-films`` and ``event-report``.

``make`` films a set (training extra). ``measure`` analyses a folder of such films, prints what is
off, and writes the page.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from pathlib import Path

from .plan import SETS


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training.whole_films")
    commands = parser.add_subparsers(dest="command", required=True)
    filming = commands.add_parser("make", help="film a set")
    filming.add_argument("--set", choices=sorted(SETS), default="tune")
    filming.add_argument("--count", type=int, default=60)
    filming.add_argument("--fastest", type=float, default=math.inf, help="frames per second")
    filming.add_argument("--out", type=Path, required=True)
    measuring = commands.add_parser("measure", help="analyse films and write the page")
    measuring.add_argument("films", type=Path)
    measuring.add_argument("--cache", type=Path, required=True, help="joint tracks")
    measuring.add_argument("--about", default="", help="for the page: which films")
    measuring.add_argument("--out", type=Path, help="page to write, Markdown")
    options = parser.parse_args(arguments)
    if options.command == "make":
        from .make import make

        make(options.set, options.count, options.out, options.fastest)
        return 0
    from .analysed import analysed
    from .errors import rows_of
    from .page import page

    rows = rows_of(analysed(options.films, options.cache))
    if not rows:
        print(f"No film with a truth JSON beside it in {options.films}.", file=sys.stderr)
        return 4
    for row in rows:
        if row.held is not True:
            off = "missing" if row.error_s is None else f"{1000 * row.error_s:+.0f} ms"
            print(f"{row.film} {row.view} {row.fps:g}/s {row.event}: {off} {row.method}")
    text = page(rows, options.about)
    if options.out is None:
        print(text)
    else:
        options.out.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
