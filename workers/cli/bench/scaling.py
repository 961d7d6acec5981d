"""``servewright bench processes``: how much more several worker processes get done."""

from __future__ import annotations

import time
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from workers.cli.bench.analyst import Analyst
from workers.cli.bench.pose import FilmArgument
from workers.cli.bench.report import JsonOption, Part, Timing, finish
from workers.cli.console import guarded
from workers.processes.threads import usable_cores


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("processes")(processes)


@guarded
def processes(
    file: FilmArgument,
    most: Annotated[int, typer.Option(min=0, help="Most processes; 0 = one a core.")] = 0,
    rounds: Annotated[int, typer.Option(min=1, help="Films a process.")] = 2,
    json: JsonOption = None,
) -> None:
    """Analyse one film in 1, 2, … processes at once; the rate is compared with one process's."""
    figures: list[Timing] = []
    alone = 0.0
    for count in range(1, (most or usable_cores()) + 1):
        rate = count * rounds / _wall_s(file, count, rounds) * 60.0
        alone = alone or rate
        figures.append(
            Timing(
                *(f"{file.name}, {count} processes", "films a minute", rate, ""),
                *(f"{count} times one process", alone * count, rate / (alone * count)),
            )
        )
    finish(Part("processes", "Several worker processes", figures), json)


def _wall_s(file: Path, count: int, rounds: int) -> float:
    """Return the time in which so many processes each analyse so many films, seconds."""
    with ExitStack() as stack:
        analysts = [stack.enter_context(Analyst(beside=False)) for _ in range(count)]
        for analyst in analysts:
            analyst.start(file)  # the first one loads what all later ones have
        for analyst in analysts:
            analyst.cost()
        start = time.perf_counter()
        for _ in range(rounds):
            for analyst in analysts:
                analyst.start(file)
            for analyst in analysts:
                analyst.cost()
        return time.perf_counter() - start
