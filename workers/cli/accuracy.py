"""``servewright accuracy DIR``: the whole pipeline against clips with known truth."""

from __future__ import annotations

import dataclasses
import gzip
import json as jsonlib
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from workers.cli.console import Exit, errors, guarded, results

if TYPE_CHECKING:
    from models.contract.tracks import JointTrack
    from workers.engine.accuracy import ClipErrors
    from workers.engine.truth import ClipTruth

FILMS = (".mp4", ".mov", ".webm", ".mkv")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("accuracy")(accuracy)


@guarded
def accuracy(
    folder: Annotated[
        Path,
        typer.Argument(exists=True, file_okay=False, help="Films with a truth JSON beside each."),
    ],
    cache: Annotated[
        Path, typer.Option(help="Folder for joint tracks; an interrupted run goes on from it.")
    ] = Path("accuracy-cache"),
    heights: Annotated[
        bool, typer.Option(help="Tell the engine each player's true standing height.")
    ] = True,
    views: Annotated[bool, typer.Option(help="Print every view, not only the sums.")] = True,
    json: Annotated[
        bool, typer.Option("--json", help="Print the tables as JSON, and nothing else.")
    ] = False,
    markdown: Annotated[
        Path | None, typer.Option(help="Also write the tables as a Markdown page.")
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(help="Folder for the accuracy report: README.md with accuracy.svg beside it."),
    ] = None,
    about: Annotated[
        str | None,
        typer.Option(help="For the report: where the clips come from (generator, profile, seed)."),
    ] = None,
) -> None:
    """Measure films whose truth is known and print how far off each value is.

    Per metric and view: bias, mean absolute error, share of 95 % intervals that hold the truth,
    share reported measurable; per event the time error in ms and frames; count of serves, kinds
    of work, handedness, view class.
    """
    from workers.engine.accuracy import clip_summary, event_table, metric_table

    if page is not None and not about:
        raise typer.BadParameter("say where the clips come from with --about", param_hint="--page")
    pairs = find_pairs(folder)
    if not pairs:
        errors().print(f"No film with a truth JSON beside it in {folder}.", style="red")
        raise typer.Exit(Exit.INSTALLATION)
    compared, failed, seconds = compare_all(pairs, cache, heights=heights)
    report = {
        "clips": dataclasses.asdict(clip_summary(compared)),
        "failed": failed,
        "engine_s_per_serve": seconds,
        "events": [dataclasses.asdict(row) for row in event_table(compared)],
        "metrics": [dataclasses.asdict(row) for row in metric_table(compared)],
    }
    if markdown is not None:
        markdown.write_text(markdown_page(report, f"servewright accuracy {folder.name}"), "utf-8")
    if page is not None and about:
        _write_page(page, compared, failed, seconds, folder, about, heights)
    if json:
        sys.stdout.write(jsonlib.dumps(report, indent=1) + "\n")
        return
    _print(report, views)


def _write_page(
    page: Path,
    compared: Sequence[ClipErrors],
    failed: dict[str, str],
    seconds: float | None,
    folder: Path,
    about: str,
    heights: bool,
) -> None:
    from service.core.settings import Settings
    from workers.cli.accuracy_report import accuracy_document, command_line, write_report
    from workers.pose.choice import FINDER

    if not any(clip.kinds for clip in compared):
        errors().print("No clip holds a repetition: there is nothing to report.", style="red")
        raise typer.Exit(Exit.INSTALLATION)
    settings = Settings()
    document = accuracy_document(
        compared,
        about=about,
        command=command_line(folder, page, about, heights),
        heights=heights,
        failed=failed,
        seconds=seconds,
        networks=(*settings.models, FINDER),
    )
    for written in write_report(document, page):
        errors().print(f"Written: {written}")


def find_pairs(folder: Path) -> list[tuple[Path, Path]]:
    """Return (film, truth) pairs of a folder, in order of name."""
    films = [film for film in sorted(folder.iterdir()) if film.suffix.lower() in FILMS]
    pairs = [
        (film, truth)
        for film in films
        for truth in (film.with_suffix(".json"), film.with_suffix(".json.gz"))
        if truth.is_file()
    ]
    return list({film: (film, truth) for film, truth in reversed(pairs)}.values())[::-1]


def read_document(path: Path) -> dict[str, Any]:
    """Return the truth document in a JSON file, gzipped or not."""
    data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    document: dict[str, Any] = jsonlib.loads(data)
    return document


def compare_all(
    pairs: Sequence[tuple[Path, Path]], cache: Path, *, heights: bool, all_metrics: bool = False
) -> tuple[list[ClipErrors], dict[str, str], float | None]:
    """Measure films and hold them against their truth.

    Parameters
    ----------
    pairs : sequence of (film, truth)
    cache : Path
        Folder for joint tracks.
    heights : bool
        Tell the engine each player's true standing height.
    all_metrics : bool
        Every metric by every method, nothing corrected or withheld: what calibration starts from.

    Returns
    -------
    The films' errors, error codes by film that could not be measured, and the engine's seconds per
    repetition (None without one).
    """
    import time

    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Left

    from models.contract.errors import ServewrightError
    from workers.engine.accuracy import clip_errors
    from workers.engine.interface import EngineRequest
    from workers.engine.truth import read_truth
    from workers.learned import load

    engine = load()
    compared: list[ClipErrors] = []
    failed: dict[str, str] = {}
    spent, serves = 0.0, 0
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), Left())
    with Progress(*columns, console=errors(), disable=not errors().is_terminal) as bar:
        task = bar.add_task("Measuring", total=len(pairs))
        for film, truth_file in pairs:
            bar.update(task, description=film.name)
            truth = read_truth(read_document(truth_file), film.stem)
            request = EngineRequest(
                stature_m=truth.stature_m if heights else None,
                capture_fps=capture_fps(truth),
                calibrated=not all_metrics,
            )
            try:
                track = joint_track(film, truth, cache)
                start = time.perf_counter()
                found = engine.analyse(track, request)
                spent += time.perf_counter() - start
                serves += len(found.repetitions)
                compared.append(
                    clip_errors(
                        truth,
                        found.repetitions,
                        found.view.label,
                        found.view.azimuth_deg,
                        found.handedness,
                    )
                )
            except ServewrightError as error:
                failed[film.name] = error.code
            bar.advance(task)
    return compared, failed, round(spent / serves, 3) if serves else None


def joint_track(film: Path, truth: ClipTruth, cache: Path) -> JointTrack:
    """Return the joints of a film: from the cache, else by decoding and the pose networks.

    The cache is keyed by the film's content, so that a changed film is measured anew.
    """
    import hashlib

    from models.contract.tracks import JointTrack
    from service.core.settings import Settings
    from workers.engine.interface import EngineRequest
    from workers.jobs.configured import shared_stages
    from workers.pipeline import run as pipeline

    settings = Settings().model_copy(update={"pictures": False})
    key = hashlib.sha256(film.read_bytes())
    key.update("+".join(settings.models).encode())
    rate = capture_fps(truth)
    if rate is not None:
        key.update(str(rate).encode())
    kept = cache / f"{film.stem}-{key.hexdigest()[:16]}.npz"
    if kept.is_file():
        try:
            return JointTrack.from_npz(kept.read_bytes())
        except (ValueError, KeyError, OSError):
            kept.unlink()
    request = EngineRequest(stature_m=truth.stature_m, capture_fps=rate)
    result = pipeline.run(film, request, shared_stages(settings))
    cache.mkdir(parents=True, exist_ok=True)
    part = kept.with_suffix(".part")
    part.write_bytes(result.track.to_npz())
    part.replace(kept)
    return result.track


def capture_fps(truth: ClipTruth) -> float | None:
    """Return the rate to state for a slow-motion file, as its owner would; None otherwise."""
    return truth.fps if truth.time_scale != 1.0 else None


_METRIC_COLUMNS = ("name", "view", "count", "bias", "mae", "p95", "coverage", "measurable")
_EVENT_COLUMNS = (
    "event",
    "view",
    "count",
    "found",
    "bias_ms",
    "mae_ms",
    "p95_ms",
    "mae_frames",
    "within_one_frame",
)


def _cell(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:.3g}" if isinstance(value, float) else str(value)


def _print(report: dict[str, Any], views: bool) -> None:
    from rich.table import Table

    console = results()
    for title, columns in (("events", _EVENT_COLUMNS), ("metrics", _METRIC_COLUMNS)):
        table = Table(title=title.capitalize())
        for column in columns:
            table.add_column(column.replace("_", " "))
        for row in report[title]:
            if views or row["view"] == "all":
                table.add_row(*(_cell(row[column]) for column in columns))
        console.print(table)
    for key, value in report["clips"].items():
        console.print(f"{key.replace('_', ' ')}: {_cell(value)}", markup=False)
    console.print(f"engine seconds per repetition: {_cell(report['engine_s_per_serve'])}")
    for film, code in report["failed"].items():
        console.print(f"{film}: {code}", markup=False)


def markdown_page(report: dict[str, Any], command: str) -> str:
    """Return the tables as a Markdown page."""
    lines = ["# How far off each value is", "", f"Made by `{command}`.", ""]
    lines += [
        f"- {key.replace('_', ' ')}: {_cell(value)}" for key, value in report["clips"].items()
    ]
    lines += [f"- engine seconds per repetition: {_cell(report['engine_s_per_serve'])}", ""]
    for title, columns in (("events", _EVENT_COLUMNS), ("metrics", _METRIC_COLUMNS)):
        lines += [f"## {title.capitalize()}", ""]
        lines.append("| " + " | ".join(column.replace("_", " ") for column in columns) + " |")
        lines.append("|" + " --- |" * len(columns))
        lines += [
            "| " + " | ".join(_cell(row[column]) for column in columns) + " |"
            for row in report[title]
        ]
        lines.append("")
    return "\n".join(lines)
