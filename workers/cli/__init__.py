"""The command line ``servewright``: one module per command or group of commands.

A module defines ``register(app)``; `workers.cli.app` lists them. Modules import what is heavy
inside their commands, so that help and completion stay quick.
"""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    # Before any numeric library is imported: one thread a process.
    from workers.processes.threads import limit_threads

    limit_threads()
    from workers.cli.app import build

    build()()
