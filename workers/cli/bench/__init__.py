"""``servewright bench``: what this machine needs for films, beside baselines of the same run.

Every part prints a table, and adds its figures to one JSON document with ``--json FILE``. A figure
stands beside its baseline, measured in the same run on the same machine, and their ratio: only
ratios may be carried to another machine.
"""

from __future__ import annotations

import typer

from workers.cli.bench import cost, pose, scaling, service


def register(app: typer.Typer) -> None:
    """Add the commands."""
    parts = typer.Typer(
        no_args_is_help=True,
        help="Measure what films cost here, beside baselines of the same run.",
    )
    for module in (pose, cost, scaling, service):
        module.register(parts)
    app.add_typer(parts, name="bench")
