"""``servewright backup`` and ``servewright restore``: the whole installation in one file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from models.contract.errors import InvalidRequest
from workers.cli.console import errors, guarded

MIB = 1 << 20
"""Bytes."""


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)


@guarded
def backup(file: Annotated[Path, typer.Argument(help="File to write; it must not exist.")]) -> None:
    """Write every row and every film and result into one file (tar). The service may run on.

    The file holds films, and secrets that sign webhooks: keep it encrypted, and let it expire.
    """
    from service.core.backup import write_backup
    from service.core.settings import Settings
    from service.core.wiring import wire

    wired = wire(Settings())
    try:
        wired.database.ping()
        made = write_backup(wired.database, wired.objects, file)
    except FileExistsError:
        raise InvalidRequest(f"{file} exists. Choose another name.") from None
    except OSError as error:
        raise InvalidRequest(f"{file} cannot be written: {error.strerror}.") from error
    finally:
        wired.close()
    errors().print(
        f"{file}: {made.rows} rows, {made.files} files ({made.bytes / MIB:.1f} MiB), "
        f"database revision {made.revision}."
    )


@guarded
def restore(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, readable=True)],
) -> None:
    """Put a backup into an empty installation, and bring it to the present version.

    Stop API and workers before. What was erased since the backup was made is there again: erase
    it again (infra/erasure.md).
    """
    from service.core.database import revision_wanted
    from service.core.restore import Restorer
    from service.core.settings import Settings
    from service.core.wiring import open_objects

    settings = Settings()
    done = Restorer(settings.database_address, open_objects(settings)).restore(file)
    errors().print(
        f"{done.rows} rows and {done.files} files ({done.bytes / MIB:.1f} MiB) of revision "
        f"{done.revision} are restored; the database is at {revision_wanted()}. Start the service; "
        "unfinished work begins by itself."
    )
