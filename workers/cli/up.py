"""``servewright up``: the whole service on one machine, by one command."""

from __future__ import annotations

import fcntl
import os
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.errors import DependencyError, InvalidRequest
from workers.cli.console import Exit, errors, guarded, results

if TYPE_CHECKING:
    from service.core.settings import Settings
    from workers.processes.supervisor import Program, Supervisor

READY_S = 60.0
"""Longest wait for the API to be ready, seconds (working value)."""
WORKER_GRACE_S = 3.0
"""What a running analysis gets when the command is stopped, seconds: a person waits (working
value)."""
API_END_S = 10.0
"""What the API gets beyond its drain to end its threads, seconds (working value)."""
API = "service.api.server"
HARMLESS = ("PATH", "HOME", "LANG", "LC_ALL", "TMPDIR", "PYTHONPATH", "VIRTUAL_ENV")
"""What the process that opens callers' pictures gets of the environment."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("up")(up)


@guarded
def up(
    data_dir: Annotated[
        Path | None, typer.Option(help="Folder of the embedded stores. [SERVEWRIGHT_DATA_DIR]")
    ] = None,
    host: Annotated[str | None, typer.Option(help="[SERVEWRIGHT_HOST]")] = None,
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="0 = any free one. [SERVEWRIGHT_PORT]")
    ] = None,
    processes: Annotated[
        int | None, typer.Option("--processes", "-n", min=0, help="Workers; 0 = one a core.")
    ] = None,
) -> None:
    """Start API, workers, queue, database and object store; Ctrl-C stops them all.

    What is configured (SERVEWRIGHT_DATABASE_URL, SERVEWRIGHT_REDIS_URL, an S3 bucket) is used;
    the rest is embedded, below the data folder.
    """
    for name, value in (
        ("DATA_DIR", data_dir),
        ("HOST", host),
        ("PORT", port),
        ("WORKERS", processes),
    ):
        if value is not None:
            os.environ[f"SERVEWRIGHT_{name}"] = str(value)
    from service.core.logs import configure_logging
    from service.core.settings import Settings

    settings = Settings()
    configure_logging(settings.log_level, settings.log_format)
    if settings.port == 0:
        os.environ["SERVEWRIGHT_PORT"] = str(free_port(settings.host))
        settings = Settings()
    else:
        check_port(settings.host, settings.port)
    with alone(settings.data_dir):
        serve(settings)


def serve(settings: Settings) -> None:
    """Start everything, say where it is, and keep it running until told to stop."""
    from service.core.hiding import hide_from_others
    from workers.processes import tether
    from workers.processes.supervisor import Program, Supervisor
    from workers.processes.valkey import valkey_program, wait_for_queue

    supervisor = Supervisor([])
    supervisor.install_signal_handlers()
    hide_from_others()
    try:
        if settings.embedded_redis:
            supervisor.add(valkey_program(settings.valkey_socket, settings.data_dir / "valkey"))
        wait_for_queue(settings.redis_address, 15.0)
        key = prepare_database(settings)
        supervisor.add(
            Program(
                name="api",
                command=api_command(),
                rank=1,
                grace_s=settings.drain_s + API_END_S,
            )
        )
        supervisor.add(
            Program(
                name="workers",
                command=tether.module("workers.processes.boot", "--grace", str(WORKER_GRACE_S)),
                rank=2,
                grace_s=WORKER_GRACE_S + 10.0,
            )
        )
        if settings.live_hold:
            supervisor.add(hold_program(settings))
        wait_for_api(settings, supervisor)
        announce(settings, key)
        supervisor.run()
    finally:
        supervisor.stop()
    errors().print("Stopped.")


def hold_program(settings: Settings) -> Program:
    """Return what watches holds live: it opens pictures of callers, and knows no secret."""
    from workers.processes import tether
    from workers.processes.supervisor import Program
    from workers.processes.threads import SINGLE_THREAD

    sessions = str(settings.live_hold_sessions)
    plain = {name: os.environ[name] for name in HARMLESS if name in os.environ}
    return Program(
        name="hold",
        command=tether.module(
            "workers.processes.hold_server",
            str(settings.live_hold_socket),
            "--sessions",
            sessions,
        ),
        environment={**plain, **SINGLE_THREAD},
        rank=2,
    )


def api_command() -> list[str]:
    """Return the command that serves the API (by dotted name: we do not import it)."""
    from workers.processes import tether

    return tether.module(API)


def prepare_database(settings: Settings) -> Path | None:
    """Bring the database up to date; return the file of the first admin key if it was made now."""
    from service.core.access import Keys
    from service.core.database import Database, migrate
    from service.core.first_key import FirstKeyNotWritten, hand_out_first_key

    migrate(settings)
    database = Database(settings.database_address)
    try:
        return hand_out_first_key(settings, Keys(database))
    except FirstKeyNotWritten as error:
        raise InvalidRequest(str(error)) from error
    finally:
        database.close()


def base_url(settings: Settings) -> str:
    """Return the address at which this machine reaches the API."""
    host = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(settings.host, settings.host)
    return f"http://{host}:{settings.port}"


def wait_for_api(settings: Settings, supervisor: Supervisor) -> None:
    """Return when the API is ready for requests."""
    import httpx

    end = time.monotonic() + READY_S
    reason = "no answer"
    with httpx.Client(base_url=base_url(settings), timeout=2.0, trust_env=False) as client:
        while time.monotonic() < end and not supervisor.stopping:
            try:
                answer = client.get("/readyz")
            except httpx.TransportError as error:
                reason = str(error)
                if not supervisor.alive("api"):
                    break
            else:
                if answer.status_code == httpx.codes.OK:
                    return
                reason = answer.text
            time.sleep(0.1)
    if not supervisor.stopping:
        raise DependencyError(
            f"The API did not become ready ({reason}). Is port {settings.port} free? See the "
            "messages above."
        )


def announce(settings: Settings, key: Path | None) -> None:
    """Print the address and where the first admin key is. A terminal, which is no log, shows it."""
    console = results()
    console.print(f"Servewright is ready: {base_url(settings)}", markup=False)
    console.print(f"Documentation:        {base_url(settings)}/docs", markup=False)
    if key is not None:
        console.print(f"Admin API key, in a file:   {key}", markup=False, soft_wrap=True)
        if sys.stdout.isatty():
            console.print(f"It is: {key.read_text().strip()}", markup=False, soft_wrap=True)
    errors().print("Ctrl-C stops everything.")


def free_port(host: str) -> int:
    """Return a port that is free at this moment."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.bind((host, 0))
        return int(probe.getsockname()[1])


def check_port(host: str, port: int) -> None:
    """Raise unless the API can listen there. Another service that answers must not pass for it."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as the server does
        try:
            probe.bind((host, port))
        except OSError as error:
            raise InvalidRequest(
                f"The API cannot listen on {host} port {port}: {error.strerror}. Choose another "
                "--port (0 = any free one) or --host."
            ) from error


@contextmanager
def alone(data_dir: Path) -> Iterator[None]:
    """Hold the data folder: two services on one SQLite file and socket would fight."""
    try:
        data_dir.mkdir(0o700, parents=True, exist_ok=True)  # films and secrets: nobody else's
        opened = (data_dir / "up.lock").open("w")
    except OSError as error:
        raise InvalidRequest(
            f"The data folder {data_dir} cannot be used: {error.strerror}. Choose another "
            "--data-dir."
        ) from error
    with opened as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            errors().print(
                f"A service is already running on {data_dir}. Stop it, or choose another "
                "--data-dir.",
                style="red",
            )
            raise typer.Exit(Exit.USAGE) from None
        yield
