"""``servewright keys``: API keys on the server itself, without the HTTP API."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from workers.cli.console import Exit, errors, guarded, results

if TYPE_CHECKING:
    from service.core.access import Keys

group = typer.Typer(no_args_is_help=True, help="API keys: add, list, rotate, revoke.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="keys")


@contextmanager
def _keys() -> Iterator[Keys]:
    from service.core.access import Keys
    from service.core.database import Database
    from service.core.settings import Settings

    database = Database(Settings().database_address)
    try:
        yield Keys(database)
    finally:
        database.close()


@group.command("add")
@guarded
def add(
    name: Annotated[str, typer.Argument(help="What the key is for.")],
    scope: Annotated[
        list[str] | None, typer.Option(help="May be repeated; admin without one.")
    ] = None,
    days: Annotated[int | None, typer.Option(min=1, help="Days until it expires.")] = None,
    organisation: Annotated[
        str, typer.Option(help="Whose key it is; see `servewright organisations list`.")
    ] = "main",
    player: Annotated[
        str | None, typer.Option(help="Id of the one player that it reaches.")
    ] = None,
    session: Annotated[
        str | None, typer.Option(help="Id of the one session that it reaches.")
    ] = None,
) -> None:
    """Make a key and print it. It cannot be shown again."""
    from models.contract.accounts import ApiKeyRequest
    from service.core.principal import Scope

    wanted = scope or [Scope.ADMIN.value]
    unknown = sorted(set(wanted) - {known.value for known in Scope})
    if unknown:
        errors().print(
            f"Unknown scope: {', '.join(unknown)}. Known: {', '.join(Scope)}.", style="red"
        )
        raise typer.Exit(Exit.USAGE)
    ApiKeyRequest.model_validate(
        {
            "name": name,
            "scopes": wanted,
            "expires_in_days": days,
            "player_id": player,
            "session_id": session,
        }
    )
    expires = None if days is None else datetime.now(UTC) + timedelta(days=days)
    with _keys() as keys:
        key = keys.add(
            name,
            tuple(Scope(value) for value in wanted),
            tenant_id=organisation,
            expires_at=expires,
            player_id=player,
            session_id=session,
        )
    typer.echo(key)


@group.command("list")
@guarded
def list_keys() -> None:
    """List all keys, without their secrets."""
    table = Table(
        *("id", "organisation", "name", "scopes", "reaches"),
        *("created", "expires", "last used", "state"),
    )
    with _keys() as keys:
        for key in keys.list():
            table.add_row(
                key.id,
                key.tenant_id,
                key.name,
                ", ".join(key.scopes),
                key.session_id or key.player_id or "all",
                _day(key.created_at),
                _day(key.expires_at),
                _day(key.last_used_at),
                "revoked" if key.revoked_at else "in force",
            )
    results().print(table)


@group.command("rotate")
@guarded
def rotate(
    key_id: Annotated[str, typer.Argument(help="Id from the list.")],
    overlap: Annotated[
        int, typer.Option(min=0, max=720, help="Hours for which the former key stays good.")
    ] = 24,
) -> None:
    """Replace the secret of a key and print the key. It cannot be shown again."""
    with _keys() as keys:
        typer.echo(keys.replace(key_id, timedelta(hours=overlap)))


@group.command("generate")
@guarded
def generate() -> None:
    """Print a key for SERVEWRIGHT_FIRST_KEY. Nothing is stored."""
    from service.core.key_text import key_text, new_key_id, new_secret

    typer.echo(key_text(new_key_id(), new_secret()))


@group.command("revoke")
@guarded
def revoke(key_id: Annotated[str, typer.Argument(help="Id from the list.")]) -> None:
    """End a key at once."""
    with _keys() as keys:
        keys.revoke(key_id)
    errors().print(f"Key {key_id} is no longer valid.")


def _day(moment: datetime | None) -> str:
    return "" if moment is None else f"{moment:%Y-%m-%d %H:%M}"
