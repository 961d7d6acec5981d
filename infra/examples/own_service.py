"""A service of one's own for as long as an example runs."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from workers.processes import tether

KEY_FILE = re.compile(r"Admin API key, in a file: +(/.*)")


class NotStarted(Exception):
    """The service did not start; the message holds what it said."""


@contextmanager
def own_service(work: Path) -> Iterator[tuple[str, str]]:
    """Run an embedded service as long as the block; yield its address and first key."""
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    environment = kept | {
        "SERVEWRIGHT_DATA_DIR": str(work / "data"),
        "SERVEWRIGHT_PORT": str(_free_port()),
        "SERVEWRIGHT_RECONCILE_INTERVAL_S": "2",
        "SERVEWRIGHT_WEBHOOK_ALLOW_HTTP": "true",
        "SERVEWRIGHT_WEBHOOK_PRIVATE_NETWORKS": '["127.0.0.0/8"]',
        "PYTHONUNBUFFERED": "1",
        "COLUMNS": "200",
    }
    child = tether.spawn(
        tether.module("workers.cli", "up"),
        environment=environment,
        output=subprocess.PIPE,
    )
    lines: list[str] = []
    ready = threading.Event()

    def read() -> None:
        assert child.stdout is not None
        for line in child.stdout:
            lines.append(line.decode(errors="replace").rstrip())
            if KEY_FILE.search(lines[-1]):
                ready.set()
        ready.set()

    threading.Thread(target=read, daemon=True).start()
    try:
        ready.wait(120)
        said = "\n".join(lines)
        address, key = re.search(r"(http://\S+)", said), KEY_FILE.search(said)
        if address is None or key is None:
            raise NotStarted(f"The service did not start:\n{said}")
        yield address[1], Path(key[1]).read_text().strip()
    except BaseException:
        print("\n".join(["--- end of the service's log", *lines[-30:]]), file=sys.stderr)
        raise
    finally:
        tether.stop(child, 30.0)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
