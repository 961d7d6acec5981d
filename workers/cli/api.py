"""``servewright api``: the API alone, against a configured database, queue and object store."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from workers.cli.console import guarded


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("api")(api)


@guarded
def api(
    host: Annotated[str | None, typer.Option(help="[SERVEWRIGHT_HOST]")] = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="[SERVEWRIGHT_PORT]")] = None,
) -> None:
    """Serve the API until stopped; workers run elsewhere (`servewright worker`).

    The database must be migrated (`servewright migrate`). On SIGTERM no request is taken any
    more, and those that run get SERVEWRIGHT_DRAIN_S seconds to end.
    """
    for name, value in (("HOST", host), ("PORT", port)):
        if value is not None:
            os.environ[f"SERVEWRIGHT_{name}"] = str(value)
    from service.core.settings import Settings
    from workers.cli.up import api_command, check_port

    settings = Settings()
    check_port(settings.host, settings.port)
    command = api_command()
    os.execv(command[0], command)
