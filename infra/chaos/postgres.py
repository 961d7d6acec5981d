"""A PostgreSQL server of the run's own, which can be crashed and started again."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path


def free_port() -> int:
    """Return a port of this machine that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


class Postgres:
    """A fresh cluster in a folder of its own; as user ``postgres`` where this one is root.

    Raises
    ------
    RuntimeError
        The programs ``initdb`` and ``pg_ctl`` are not installed.
    """

    def __init__(self) -> None:
        if shutil.which("initdb") is None or shutil.which("pg_ctl") is None:
            raise RuntimeError("initdb and pg_ctl are not on PATH: install PostgreSQL's server")
        self._folder = Path(tempfile.mkdtemp(prefix="servewright-chaos-pg-"))
        self._data = self._folder / "data"
        self._port = free_port()
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self._folder, owner.pw_uid, owner.pw_gid)
        self._run("initdb", "--auth=trust", "--username=servewright", "-D", str(self._data))
        self.start()
        where = ("-h", "127.0.0.1", "-p", str(self._port), "-U", "servewright")
        self._run("createdb", *where, "chaos")
        self.url = f"postgresql://servewright@127.0.0.1:{self._port}/chaos"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = f"-p {self._port} -c listen_addresses=127.0.0.1 -k {self._folder}"
        log = self._folder / "log"
        self._run("pg_ctl", "start", "-w", "-D", str(self._data), "-l", str(log), "-o", options)

    def crash(self) -> None:
        """End it as a loss of power would: no farewell to clients, recovery at the next start."""
        self._run("pg_ctl", "stop", "-m", "immediate", "-D", str(self._data))

    def close(self) -> None:
        """Stop it and remove its folder."""
        stop = self._as_owner("pg_ctl", "stop", "-m", "fast", "-D", str(self._data))
        subprocess.run(stop, check=False, capture_output=True)
        shutil.rmtree(self._folder, ignore_errors=True)

    def _as_owner(self, *command: str) -> list[str]:
        user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
        return [*(user if os.geteuid() == 0 else []), *command]

    def _run(self, *command: str) -> None:
        done = subprocess.run(
            self._as_owner(*command),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=self._folder,
        )
        if done.returncode != 0:
            raise RuntimeError(f"{command[0]} failed: {done.stderr[-500:]}")
