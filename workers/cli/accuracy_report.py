"""Turn compared clips into the accuracy document, and write its page and picture."""

from __future__ import annotations

import shlex
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np

from models.contract.accuracy import (
    Accuracy,
    ClipSet,
    EventAccuracy,
    MetricAccuracy,
    ViewAccuracy,
)
from models.contract.analysis import ModelUse
from models.contract.vocabulary import View
from models.registry import entry
from workers.engine.accuracy import ClipErrors, clip_summary, event_table, metric_table
from workers.engine.interface import ENGINE_VERSION
from workers.engine.metrics.registry import REGISTRY
from workers.report.accuracy_page import accuracy_page
from workers.report.accuracy_picture import accuracy_picture

PAGE, PICTURE = "README.md", "accuracy.svg"


def write_report(document: Accuracy, folder: Path) -> tuple[Path, Path]:
    """Write page and picture into a folder, and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    page, picture = folder / PAGE, folder / PICTURE
    picture.write_text(accuracy_picture(document), "utf-8")
    page.write_text(accuracy_page(document, PICTURE), "utf-8")
    return page, picture


def accuracy_document(
    compared: Sequence[ClipErrors],
    *,
    about: str,
    command: str,
    heights: bool,
    failed: Mapping[str, str],
    seconds: float | None,
    networks: Sequence[str],
) -> Accuracy:
    """Return the document of compared clips."""
    rates = Counter(clip.fps for clip in compared)
    return Accuracy(
        clip_set=ClipSet(
            about=about,
            command=command,
            heights_given=heights,
            frame_rates={f"{fps:g}": rates[fps] for fps in sorted(rates)},
            failed=dict(failed),
        ),
        engine_version=ENGINE_VERSION,
        models=tuple(
            ModelUse(name=name, sha256=entry(name).sha256, licence=entry(name).licence)
            for name in networks
        ),
        engine_s_per_serve=seconds,
        views=_views(compared),
        events=tuple(EventAccuracy.model_validate(asdict(row)) for row in event_table(compared)),
        metrics=_metrics(compared),
    )


def command_line(folder: Path, page: Path, about: str, heights: bool) -> str:
    """Return the command as anyone can repeat it: absolute paths shortened to their last part."""
    words = ["servewright", "accuracy", _shown(folder), "--page", _shown(page), "--about", about]
    return shlex.join(words + ([] if heights else ["--no-heights"]))


def _shown(path: Path) -> str:
    return path.name if path.is_absolute() else path.as_posix()


def _views(compared: Sequence[ClipErrors]) -> tuple[ViewAccuracy, ...]:
    rows = []
    for view in (*View, None):
        clips = [clip for clip in compared if view is None or clip.view is view]
        if clips:
            rows.append(
                ViewAccuracy(
                    view=view.value if view else "all",
                    serves=sum(clip.serves for clip in clips),
                    **asdict(clip_summary(clips)),
                )
            )
    return tuple(rows)


def _metrics(compared: Sequence[ClipErrors]) -> tuple[MetricAccuracy, ...]:
    specs = {spec.name: spec for spec in REGISTRY}
    truths: dict[str, list[float]] = defaultdict(list)
    for clip in compared:
        for error in clip.metrics:
            truths[error.name].append(error.truth)
    return tuple(
        MetricAccuracy(
            title=specs[row.name].title,
            unit=specs[row.name].unit,
            guess_mae=_guess_error(truths[row.name]),
            **asdict(row),
        )
        for row in metric_table(compared)
    )


def _guess_error(truths: Sequence[float]) -> float | None:
    # The mean of one value is that value: no guess to compare with.
    if len(truths) < 2:
        return None
    return float(np.mean(np.abs(np.array(truths) - np.mean(truths))))
