"""``servewright bench films``, ``memory`` and ``uhd``: from a film to its result."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from workers.cli.bench.analyst import Analyst, FilmCost
from workers.cli.bench.pose import FilmArgument
from workers.cli.bench.report import JsonOption, Part, Timing, finish
from workers.cli.bench.tree import Peaks
from workers.cli.console import guarded

if TYPE_CHECKING:
    from workers.cli.bench.composed import Plan

SECONDS = (5.0, 20.0, 60.0, 300.0)
"""Lengths of the composed films, seconds: from a short clip to a whole practice."""
RATES = (30, 60, 120, 240)
"""Frames per second that phones record."""
SERVES = (1, 3, 10)
"""Lengths, rates and serves of the whole part."""
EVERY_FRAME = "every frame of the film seen closely"


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("films")(films)
    app.command("memory")(memory)
    app.command("uhd")(uhd)


@guarded
def films(
    file: FilmArgument,
    seconds: Annotated[list[float] | None, typer.Option(help="Lengths; several allowed.")] = None,
    rate: Annotated[list[int] | None, typer.Option(help="Frame rates; several allowed.")] = None,
    serves: Annotated[list[int] | None, typer.Option(help="Serves; several allowed.")] = None,
    baseline_up_to: Annotated[
        float, typer.Option(help="Longest film that is also seen frame by frame, seconds.")
    ] = 20.0,
    at_edges: Annotated[
        bool, typer.Option(help="The first serve begins with the film, the last ends with it.")
    ] = False,
    json: JsonOption = None,
) -> None:
    """Analyse films composed from one film of one serve; by default all lengths, rates, serves.

    Each film is composed, analysed as usual, and (up to a length) once more with every frame seen
    closely. Processor time counts the decoding processes too.
    """
    from workers.cli.bench.composed import Plan, compose, fits

    plans = [
        Plan(length, fps, count, at_edges=at_edges)
        for length in seconds or SECONDS
        for fps in rate or RATES
        for count in serves or SERVES
    ]
    figures: list[Timing] = []
    samples: dict[str, list[float]] = {"cpu_s": [], "wall_s": [], "film_s": [], "serves": []}
    notes = ["Standing is the start of the film to and fro; other rates are blended pictures."]
    long = file_seconds(file)
    with tempfile.TemporaryDirectory(prefix="servewright-bench-") as folder, Analyst() as analyst:
        for plan in plans:
            if not fits(plan, long):
                notes.append(f"Left out, the serves do not fit: {plan.name}.")
                continue
            film = compose(file, plan, Path(folder) / "film.mp4")
            usual = analyst.analyse(film)
            whole = None
            if plan.seconds <= baseline_up_to:
                whole = analyst.analyse(film, every_frame=True)
            figures += _figures(plan, usual, whole)
            samples["cpu_s"].append(usual.cpu_s)
            samples["wall_s"].append(usual.wall_s)
            samples["film_s"].append(plan.seconds)
            samples["serves"].append(float(plan.serves))
    finish(Part("films", "From film to result", figures, samples, notes), json)


def file_seconds(file: Path) -> float:
    """Return the length of a film, seconds."""
    import av

    with av.open(str(file)) as film:
        return float(film.duration or 0) / av.time_base


def _figures(plan: Plan, usual: FilmCost, whole: FilmCost | None) -> list[Timing]:
    case = plan.name
    found = [
        Timing(
            *(case, "processor time", usual.cpu_s, "s"),
            *(() if whole is None else (EVERY_FRAME, whole.cpu_s, whole.cpu_s / usual.cpu_s)),
        ),
        Timing(
            *(case, "wall time, one process", usual.wall_s, "s"),
            *(() if whole is None else (EVERY_FRAME, whole.wall_s, whole.wall_s / usual.wall_s)),
        ),
        Timing(case, "processor time a second of film", usual.cpu_s / plan.seconds, "s"),
        Timing(case, "processor time a serve", usual.cpu_s / max(1, plan.serves), "s"),
        Timing(case, "serves found", float(usual.serves), "", "in the film", float(plan.serves)),
    ]
    if usual.first_look_s is not None:
        found.append(Timing(case, "wall time to the first verdict", usual.first_look_s, "s"))
    if whole is not None:
        found += _agreement(case, usual, whole)
    return found


def _agreement(case: str, usual: FilmCost, whole: FilmCost) -> list[Timing]:
    """Return how far values move, in their own standard uncertainties."""
    import numpy as np

    off = [
        abs(usual.values[name][0] - value) / max(usual.values[name][1], 1e-9)
        for name, (value, _) in whole.values.items()
        if name in usual.values
    ]
    if not off:
        return []
    against = "each value's own standard uncertainty"
    return [
        Timing(case, "median shift of a value", float(np.median(off)), "", against, 1.0),
        Timing(
            case, "values shifted by at most half of it", float(np.mean(np.array(off) <= 0.5)), ""
        ),
        Timing(
            *(case, "values that both give", float(len(off)), ""),
            *(EVERY_FRAME, float(len(whole.values))),
        ),
    ]


@guarded
def memory(file: FilmArgument, json: JsonOption = None) -> None:
    """Watch the peak memory of each process while a film is analysed (Linux)."""
    figures = _watched(file, file.name)
    finish(Part("memory", "Peak memory of the processes of one analysis", figures), json)


@guarded
def uhd(
    file: FilmArgument,
    seconds: Annotated[float, typer.Option(help="Length of the film.")] = 4.0,
    json: JsonOption = None,
) -> None:
    """Compose a film of 2160 lines at 60 frames a second in HEVC, analyse it, watch the memory."""
    import av

    from workers.cli.bench.composed import Plan, compose

    notes: list[str] = []
    codec = "libx265"
    if codec not in av.codecs_available:
        codec = "libx264"
        notes.append("This PyAV has no HEVC encoder; the film is H.264 instead.")
    plan = Plan(seconds, 60, 1, 2160, codec)
    with tempfile.TemporaryDirectory(prefix="servewright-bench-") as folder:
        film = compose(file, plan, Path(folder) / "film.mp4")
        figures = _watched(film, plan.name, seconds)
    finish(Part("uhd", "A film of 2160 lines at 60 fps", figures, notes=notes), json)


def _watched(film: Path, case: str, seconds: float | None = None) -> list[Timing]:
    with Analyst() as analyst, Peaks(analyst.pid) as peaks:
        cost = analyst.analyse(film)
    length = seconds or file_seconds(film)
    found = [
        Timing(case, "peak memory, analysing process", peaks.root_mb, "MiB"),
        Timing(case, "peak memory, decoding process", peaks.child_mb, "MiB"),
        Timing(case, "processor time", cost.cpu_s, "s"),
        Timing(case, "processor time a second of film", cost.cpu_s / length, "s"),
        Timing(case, "serves found", float(cost.serves), ""),
    ]
    if cost.first_look_s is not None:
        found.append(Timing(case, "wall time to the first verdict", cost.first_look_s, "s"))
    return found
