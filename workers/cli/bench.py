"""``servewright bench``: what the pose pipeline costs beside the bare network loop."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Annotated

import typer

from workers.cli.console import guarded, results


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("bench")(bench)


@guarded
def bench(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A film of a serve.")],
) -> None:
    """Time pose per frame against the bare onnxruntime loop on the same crops, one thread."""
    results().print(importlib.import_module("workers.pose.bench").report(file), markup=False)
