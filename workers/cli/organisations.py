"""``servewright organisations``: who shares this installation, without the HTTP API."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from models.contract.note_codes import NoteCode, say
from workers.cli.console import Exit, errors, guarded, results

if TYPE_CHECKING:
    from service.core.wiring import Wiring

group = typer.Typer(
    no_args_is_help=True, help="Organisations on this installation: add, list, limit, usage."
)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="organisations")


@contextmanager
def _wiring() -> Iterator[Wiring]:
    from service.core.settings import Settings
    from service.core.wiring import wire

    wiring = wire(Settings())
    try:
        yield wiring
    finally:
        wiring.close()


@group.command("add")
@guarded
def add(name: Annotated[str, typer.Argument(help="What it is called.")]) -> None:
    """Make an organisation and print its first admin key, for its owner. It is not shown again."""
    from models.contract.accounts import OrganisationRequest
    from service.core.key_text import key_text, new_key_id, new_secret

    OrganisationRequest.model_validate({"name": name})
    key_id, secret = new_key_id(), new_secret()
    with _wiring() as wiring, wiring.database.write() as session:
        row = wiring.organisations.enter(session, name, {}, key_id, secret)
    errors().print(f"Organisation {row.id}")
    typer.echo(key_text(key_id, secret))


@group.command("list")
@guarded
def list_organisations() -> None:
    """List all organisations with the limits in force (0 = none)."""
    table = Table("id", "name", "created", "limits in force")
    with _wiring() as wiring:
        for row in wiring.organisations.all():
            in_force = asdict(wiring.quotas.defaults.of(row))
            shown = ", ".join(f"{name} {value}" for name, value in in_force.items() if value)
            table.add_row(row.id, row.name, f"{row.created_at:%Y-%m-%d}", shown or "none")
    results().print(table)


@group.command("limit")
@guarded
def limit(
    organisation: Annotated[str, typer.Argument(help="Id from the list.")],
    setting: Annotated[
        list[str],
        typer.Argument(help="NAME=VALUE, 0 = no limit; NAME= takes the installation's again."),
    ],
) -> None:
    """Set limits of one organisation, such as films_per_month=500."""
    from models.contract.accounts import OrganisationLimits

    given: dict[str, str | None] = {}
    for one in setting:
        name, equals, value = one.partition("=")
        if not equals:
            errors().print(f"Not of the form NAME=VALUE: {one}", style="red", markup=False)
            raise typer.Exit(Exit.USAGE)
        given[name] = value or None
    OrganisationLimits.model_validate(given)
    with _wiring() as wiring:
        present = next(
            (row.limits for row in wiring.organisations.all() if row.id == organisation), {}
        )
        limits = OrganisationLimits.model_validate({**present, **given}).own()
        row = wiring.organisations.change(organisation, {"limits": limits})
    errors().print(f"{row.id}: {row.limits or 'as the settings say'}", markup=False)


@group.command("brand")
@guarded
def brand(
    organisation: Annotated[str, typer.Argument(help="Id from the list.")],
    name: Annotated[str, typer.Option(help="Stands above the pages.")],
    colour: Annotated[
        str | None, typer.Option(help="Of links, marks and lines, such as #2f4b8f.")
    ] = None,
    logo: Annotated[
        Path | None, typer.Option(exists=True, dir_okay=False, help="PNG or JPEG, 150 KB at most.")
    ] = None,
) -> None:
    """Set how the pages of an organisation look; pages made before stay as they are."""
    from models.contract.branding import BrandingRequest
    from models.contract.errors import NotFound, PayloadTooLarge
    from service.core.branding import MOST_LOGO_BYTES
    from service.core.principal import Principal

    body = BrandingRequest(name=name, colour=colour)
    if logo is not None and logo.stat().st_size > MOST_LOGO_BYTES:
        raise PayloadTooLarge(say(NoteCode.BODY_TOO_LARGE, limit=MOST_LOGO_BYTES))
    with _wiring() as wiring:
        if organisation not in {row.id for row in wiring.organisations.all()}:
            raise NotFound()
        operator = Principal("command", organisation, frozenset({"admin"}))
        wiring.brandings.put(operator, body)
        if logo is not None:
            wiring.brandings.put_logo(operator, logo.read_bytes())
    errors().print(f"{organisation}: {name}", markup=False)


@group.command("usage")
@guarded
def usage(
    organisation: Annotated[str | None, typer.Argument(help="Id; all without one.")] = None,
    month: Annotated[str | None, typer.Option(help="One month (UTC), such as 2026-11.")] = None,
) -> None:
    """Print what organisations used by calendar month (UTC)."""
    from service.core.usage import used

    table = Table(
        *("organisation", "month", "films", "MB", "analyses", "film minutes", "processor s")
    )
    with _wiring() as wiring:
        rows = [row.id for row in wiring.organisations.all() if organisation in (None, row.id)]
        with wiring.database.read() as session:
            for one in (one for row in rows for one in used(session, row, month, month)):
                table.add_row(
                    one.tenant_id,
                    one.month,
                    str(one.films),
                    f"{one.bytes / 1e6:.1f}",
                    str(one.analyses),
                    f"{one.film_s / 60:.2f}",
                    f"{one.processor_s:.1f}",
                )
    results().print(table)
