"""``servewright worker``: run workers against a configured database, queue and object store."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from workers.cli.console import guarded


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("worker")(worker)


@guarded
def worker(
    processes: Annotated[
        int, typer.Option("--processes", "-n", min=0, help="0 = one a usable core.")
    ] = 0,
    grace: Annotated[
        float, typer.Option(min=0.0, help="Seconds a running analysis gets at shutdown.")
    ] = 20.0,
    alive_file: Annotated[
        Path | None,
        typer.Option(help="File that is touched all the time; a probe looks at its age."),
    ] = None,
) -> None:
    """Run worker processes until stopped. Start it on as many machines as you like."""
    from service.core.logs import configure_logging
    from service.core.settings import Settings
    from workers.processes.boot import supervise

    settings = Settings()
    configure_logging(settings.log_level, settings.log_format)
    supervise(settings, processes, grace, alive_file)
