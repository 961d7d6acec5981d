"""The list of commands. To add one: write a module with ``register(app)`` and list it here."""

from __future__ import annotations

from types import ModuleType

import typer

from workers.cli import (
    accuracy,
    analyse,
    api,
    backup,
    bench,
    capacity,
    coaching,
    doctor,
    export,
    hold,
    joints_in,
    keys,
    migrate,
    object_key,
    organisations,
    own_lines,
    session_values,
    up,
    worker,
)
from workers.cli.console import EXIT_CODES_HELP

COMMANDS: tuple[ModuleType, ...] = (
    up,
    api,
    analyse,
    coaching,
    own_lines,
    session_values,
    worker,
    migrate,
    backup,
    export,
    hold,
    keys,
    object_key,
    organisations,
    doctor,
    bench,
    capacity,
    accuracy,
    joints_in,
)


def build() -> typer.Typer:
    """Return the application with all commands."""
    app = typer.Typer(
        name="servewright",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        help="From a film of a tennis serve to measured serve mechanics.",
        epilog=EXIT_CODES_HELP,
    )
    app.callback()(_root)
    for module in COMMANDS:
        module.register(app)
    return app


def _root() -> None:
    """From a film of a tennis serve to measured serve mechanics."""
