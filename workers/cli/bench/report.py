"""Figures of the bench: a table on the terminal, and a JSON document that parts are added to."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from workers.cli.console import results
from workers.processes.threads import usable_cores

FORMAT = "servewright-bench-1"

JsonOption = Annotated[
    Path | None, typer.Option("--json", help="Add this part to a JSON document of figures.")
]


@dataclass(frozen=True, slots=True)
class Timing:
    """One measured value beside its baseline.

    Attributes
    ----------
    case : str
        What was measured on: a film, a number of processes.
    what : str
    value : float
    unit : str
    against : str
        What the baseline is; empty without one.
    baseline : float or None
        In the same unit.
    ratio : float or None
        Larger is better: how many times as good as the baseline.
    """

    case: str
    what: str
    value: float
    unit: str
    against: str = ""
    baseline: float | None = None
    ratio: float | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the bench.

    Attributes
    ----------
    samples : mapping
        Single measurements by name, for the capacity model.
    notes : sequence of str
        What was left out, and why.
    """

    name: str
    title: str
    figures: Sequence[Timing]
    samples: Mapping[str, Sequence[float]] = field(default_factory=dict)
    notes: Sequence[str] = ()


def machine() -> dict[str, Any]:
    """Return what the figures depend on, the load at this moment included."""
    import onnxruntime

    model = platform.processor() or platform.machine()
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        model = next(one.split(":", 1)[1].strip() for one in lines if one.startswith("model name"))
    except (OSError, StopIteration):
        pass
    return {
        "processor": model,
        "usable_cores": usable_cores(),
        "load_average": [round(one, 2) for one in os.getloadavg()],
        "python": platform.python_version(),
        "onnxruntime": onnxruntime.__version__,
    }


def finish(part: Part, file: Path | None) -> None:
    """Print a part, and add it to a document if a file is named."""
    now = machine()
    console = results()
    load = ", ".join(f"{one:.1f}" for one in now["load_average"])
    console.print(
        f"{part.title}\n{now['processor']}, {now['usable_cores']} cores, load average {load}",
        markup=False,
    )
    table = Table("case", "measured", "value", "baseline", "ratio")
    for one in part.figures:
        table.add_row(
            one.case,
            one.what,
            f"{one.value:.4g} {one.unit}",
            "" if one.baseline is None else f"{one.baseline:.4g} {one.unit} ({one.against})",
            "" if one.ratio is None else f"{one.ratio:.3g}",
        )
    console.print(table)
    for note in part.notes:
        console.print(note, markup=False)
    if file is not None:
        _add(part, now, file)


def _add(part: Part, now: dict[str, Any], file: Path) -> None:
    known: dict[str, Any] = {"format": FORMAT, "parts": {}}
    if file.exists():
        known = json.loads(file.read_text(encoding="utf-8"))
        if known.get("format") != FORMAT:
            raise typer.BadParameter(f"{file} is not a document of this bench.")
    figures = [asdict(one) for one in part.figures]
    known["parts"][part.name] = {
        "title": part.title,
        "machine": now,
        "figures": figures,
        "samples": {name: list(values) for name, values in part.samples.items()},
        "notes": list(part.notes),
    }
    file.write_text(json.dumps(known, indent=1, allow_nan=False) + "\n", encoding="utf-8")
