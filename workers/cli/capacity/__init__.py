"""``servewright capacity``: how many workers, and where the service bends, before it does.

A discrete-event model of the way of a clip, fed with what ``servewright bench`` measured.
"""

from __future__ import annotations

import typer

from workers.cli.capacity import command


def register(app: typer.Typer) -> None:
    """Add the command."""
    command.register(app)
