"""``servewright export``: everything about one player in one file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from models.contract.errors import InvalidRequest
from workers.cli.console import errors, guarded


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("export")(export)


@guarded
def export(
    player: Annotated[str, typer.Argument(help="Id of the player: ply_…")],
    file: Annotated[
        Path | None, typer.Option("--to", help="File to write; PLAYER.zip here without.")
    ] = None,
    organisation: Annotated[str, typer.Option(help="Whose player it is.")] = "main",
) -> None:
    """Write everything about a player into one archive (zip): rows, films, results, consents and
    audit log. It holds films of a person: hand it on encrypted, and let it expire.
    """
    from service.core.audit import AuditActor, AuditSubject
    from service.core.principal import Principal, Scope
    from service.core.settings import Settings
    from service.core.wiring import wire

    target = file or Path(f"{player}.zip")
    wired = wire(Settings())
    try:
        wired.database.ping()
        principal = Principal("command", organisation, frozenset({Scope.ADMIN}))
        contents = wired.export.contents(principal, player)
        mode = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        with os.fdopen(os.open(target, mode, 0o600), "wb") as archive:
            for piece in wired.export.written(contents):
                archive.write(piece)
        actor = AuditActor("command", "export", organisation)
        wired.audit.note(actor, "export_player", AuditSubject(player, player))
    except FileExistsError:
        raise InvalidRequest(f"{target} exists. Choose another name.") from None
    except OSError as error:
        raise InvalidRequest(f"{target} cannot be written: {error.strerror}.") from error
    finally:
        wired.close()
    errors().print(f"{target}: {len(contents.files)} files of {player}.", markup=False)
