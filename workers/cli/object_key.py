"""``servewright object-key``: the keys that seal local objects."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from models.contract.errors import InvalidRequest
from workers.cli.console import errors, guarded

group = typer.Typer(help="Keys that seal films and results on the local disk.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="object-key")


@group.command("new")
@guarded
def new(file: Annotated[Path, typer.Argument(help="File of keys, made if need be.")]) -> None:
    """Put a new key in front of those in a file. Name it in SERVEWRIGHT_OBJECT_KEY_FILE, restart
    all processes, then run `servewright object-key apply`. Keep a copy elsewhere: without the key
    nothing sealed with it can be read again.
    """
    from service.core.objects.key_file import add_key

    count = add_key(file)
    errors().print(f"{file}: {count} keys, the newest first.", markup=False)


@group.command("apply")
@guarded
def apply() -> None:
    """Seal every object with the newest key that is not yet. The service may run on. Afterwards
    older keys can be taken out of the file.
    """
    from service.core.objects.encrypted import EncryptedObjects
    from service.core.settings import Settings
    from service.core.wiring import open_objects

    objects = open_objects(Settings())
    if not isinstance(objects, EncryptedObjects):
        raise InvalidRequest("No key file is set. Name one in SERVEWRIGHT_OBJECT_KEY_FILE.")
    errors().print(f"{objects.seal_all()} objects were sealed anew.")
