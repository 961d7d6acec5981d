"""``servewright capacity``: the size for a load, and the sizing page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from workers.cli.console import errors, guarded, results


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("capacity")(capacity)


@guarded
def capacity(
    bench: Annotated[
        Path, typer.Argument(exists=True, dir_okay=False, help="JSON of `servewright bench`.")
    ],
    clips: Annotated[float, typer.Option(min=1, help="Clips a day to find a size for.")] = 1000.0,
    target: Annotated[
        float, typer.Option(min=1, help="95 % of clips should wait for less, seconds.")
    ] = 60.0,
    page: Annotated[
        Path | None,
        typer.Option(file_okay=False, help="Write sizing.md and its graphs into this folder."),
    ] = None,
) -> None:
    """Find the workers that a load needs, by a model of the service fed with measured times.

    Needs the extra `capacity`. With --page the sizing page is made anew, for loads from one club
    to a million clips a day.
    """
    try:
        import simpy  # noqa: F401
    except ModuleNotFoundError:
        errors().print("Install the model's library first: pip install 'servewright[capacity]'.")
        raise typer.Exit(2) from None
    from workers.cli.capacity import measured, sizing
    from workers.cli.capacity import page as pages

    known = measured.read(bench)
    if page is not None:
        for name, text in pages.files(known).items():
            (page / name).write_text(text, encoding="utf-8")
            results().print(f"{page / name}", markup=False)
        return
    found = sizing.size_for(clips, known, target)
    seen = sizing.outcome(clips, found, known)
    results().print(
        f"{clips:g} clips a day: {found.workers} workers, {found.api_processes} API processes, "
        f"{found.database_connections} database connections at once. In the busiest hour half of "
        f"the clips wait less than {seen.wait_p50_s:.0f} s, 95 % less than {seen.wait_p95_s:.0f} s "
        f"(result after {seen.result_p95_s:.0f} s).",
        markup=False,
    )
