"""``servewright migrate``: bring the database to the newest revision."""

from __future__ import annotations

import typer

from workers.cli.console import errors, guarded


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("migrate")(migrate)


@guarded
def migrate() -> None:
    """Bring the database to the newest revision. Safe to run again."""
    from service.core.database import Database, revision_present, revision_wanted
    from service.core.database import migrate as upgrade
    from service.core.settings import Settings

    settings = Settings()
    database = Database(settings.database_address)
    try:
        before = revision_present(database)
        upgrade(settings)
    finally:
        database.close()
    wanted = revision_wanted()
    errors().print(
        f"Database is at revision {wanted}."
        if before == wanted
        else f"Database brought from {before or 'nothing'} to revision {wanted}."
    )
