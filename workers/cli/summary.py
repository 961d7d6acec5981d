"""A readable summary of an analysis for a terminal: events, metrics with intervals, problems."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from models.contract.analysis import Analysis, Metric, Repetition, Scale
from workers.cli.console import show_problem

UNIT_TEXT = {"deg": "°", "1": "", "deg/s": "°/s"}
"""Units that read better as signs; all others are shown as they are."""


def show_analysis(analysis: Analysis, console: Console) -> None:
    """Print the whole summary."""
    clip = analysis.clip
    console.print(
        f"{clip.frames} frames, {clip.duration_s:.2f} s at {clip.frame_rate:.1f} frames/s, "
        f"{clip.width}x{clip.height}",
        markup=False,
    )
    console.print(_setting(analysis), markup=False)
    for number, repetition in enumerate(analysis.repetitions, start=1):
        console.print()
        console.print(_events(number, repetition))
        console.print(_metrics(repetition))
        for reason, titles in not_measurable(repetition).items():
            console.print(f"Not measurable: {'; '.join(titles)}.", markup=False)
            console.print(f"  {reason}", markup=False, style="dim")
    if analysis.problems:
        console.print()
        for problem in analysis.problems:
            show_problem(problem, console)
    console.print()
    for caution in analysis.cautions:
        console.print(caution, markup=False, style="dim")


def _setting(analysis: Analysis) -> str:
    view = analysis.view
    azimuth = "" if view.azimuth_deg is None else f", azimuth {view.azimuth_deg:.0f}°"
    return (
        f"View {view.label.value}{azimuth} ({view.source}); {analysis.handedness.value}-handed "
        f"({analysis.handedness_source}); {_scale(analysis.scale)}"
    )


def _scale(scale: Scale) -> str:
    if scale.metres_per_body_height is None:
        return f"body height {scale.source}"
    return f"body height {scale.metres_per_body_height:.2f} m ({scale.source})"


def _events(number: int, repetition: Repetition) -> Table:
    table = Table(
        "event",
        "time, s",
        "±, s",
        "frame",
        "confidence",
        title=f"{repetition.kind.value.capitalize()} {number}",
        title_justify="left",
    )
    for column in table.columns[1:]:
        column.justify = "right"
    # In order of time: loading and trophy may come either way round.
    for name, event in sorted(repetition.events.items(), key=lambda item: item[1].time_s):
        table.add_row(
            name.value,
            f"{event.time_s:.3f}",
            f"{event.uncertainty_s:.3f}",
            str(event.frame),
            f"{event.confidence:.2f}",
        )
    return table


def _metrics(repetition: Repetition) -> Table:
    table = Table("metric", "at", "value", "95 % interval")
    for column in table.columns[2:]:
        column.justify = "right"
    for metric in repetition.metrics:
        if metric.measurable:
            table.add_row(*metric_row(metric))
    return table


def metric_row(metric: Metric) -> tuple[str, str, str, str]:
    """Return title, event, value and interval of a measurable metric."""
    assert metric.value is not None
    assert metric.low is not None
    assert metric.high is not None
    digits = _digits(metric.high - metric.low)
    sign = UNIT_TEXT.get(metric.unit, f" {metric.unit}")
    return (
        metric.title,
        "" if metric.event is None else metric.event.value,
        f"{metric.value:.{digits}f}{sign}",
        f"{metric.low:.{digits}f} to {metric.high:.{digits}f}{sign}",
    )


def not_measurable(repetition: Repetition) -> dict[str, list[str]]:
    """Return the titles of the metrics that could not be measured, by reason."""
    reasons: dict[str, list[str]] = {}
    for metric in repetition.metrics:
        if not metric.measurable:
            titles = reasons.setdefault(metric.reason or "", [])
            if metric.title not in titles:
                titles.append(metric.title)
    return reasons


def _digits(width: float) -> int:
    """Return the decimals that show an interval's width with two figures at most."""
    return 0 if width >= 10 else 1 if width >= 1 else 2 if width >= 0.1 else 3
