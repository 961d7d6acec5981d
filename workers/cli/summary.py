"""A readable summary of an analysis for a terminal: events, metrics with intervals, problems."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from models.contract.analysis import Analysis, Metric, Repetition, Scale
from models.contract.typical import Typical
from models.words import Words
from models.words.words import Named
from workers.cli.console import show_problem
from workers.report.coil_part import coil_lines
from workers.report.typical_part import scatter_words, typical_lines


def show_analysis(analysis: Analysis, console: Console, words: Words) -> None:
    """Print the whole summary."""
    clip = analysis.clip
    facts = words(
        "terminal.clip",
        frames=clip.frames,
        duration=clip.duration_s,
        rate=clip.frame_rate,
        size=f"{clip.width}x{clip.height}",
    )
    console.print(facts, markup=False)
    console.print(_setting(analysis, words), markup=False)
    beside = analysis.second_view
    if beside is not None:
        told = words(
            "terminal.second_view",
            apart=abs(beside.apart_deg),
            apart_half=(beside.apart_high - beside.apart_low) / 2.0,
            offset=beside.offset_s,
            offset_half=(beside.offset_high - beside.offset_low) / 2.0,
        )
        console.print(told, markup=False)
    for number, repetition in enumerate(analysis.repetitions, start=1):
        console.print()
        console.print(_events(number, repetition, words))
        console.print(_metrics(repetition, words))
        for reason, titles in not_measurable(repetition, words).items():
            listed = words("terminal.not_measurable", titles="; ".join(titles))
            console.print(listed, markup=False)
            console.print(f"  {reason}", markup=False, style="dim")
    coil = coil_lines(analysis.repetitions, words)
    if coil:
        console.print()
    for line in coil:
        console.print(line, markup=False)
    if analysis.typical is not None:
        console.print()
        for line in typical_lines(analysis.typical, words):
            console.print(line, markup=False)
        console.print(_typical(analysis.typical, words))
    if analysis.problems:
        console.print()
        for problem in analysis.problems:
            show_problem(problem, console, words)
    console.print()
    for caution in analysis.cautions:
        console.print(words.note(caution), markup=False, style="dim")


def _setting(analysis: Analysis, words: Words) -> str:
    view = analysis.view
    return words(
        "terminal.setting" if view.azimuth_deg is None else "terminal.setting_azimuth",
        view=view.label.value,
        azimuth=view.azimuth_deg,
        view_source=view.source,
        hand=analysis.handedness.value,
        hand_source=analysis.handedness_source,
        scale=_scale(analysis.scale, words),
    )


def _scale(scale: Scale, words: Words) -> str:
    if scale.metres_per_body_height is None:
        return words("terminal.scale_none", source=scale.source)
    return words("terminal.scale", height=scale.metres_per_body_height, source=scale.source)


def _events(number: int, repetition: Repetition, words: Words) -> Table:
    table = Table(
        *(
            words(f"terminal.column_{name}")
            for name in ("event", "time", "uncertainty", "frame", "confidence")
        ),
        title=f"{words(f'kind.{repetition.kind.value}')} {number}",
        title_justify="left",
    )
    for column in table.columns[1:]:
        column.justify = "right"
    # In order of time: loading and trophy may come either way round.
    for name, event in sorted(repetition.events.items(), key=lambda item: item[1].time_s):
        table.add_row(
            words.event(name),
            words.number(event.time_s, 3),
            words.number(event.uncertainty_s, 3),
            str(event.frame),
            words.number(event.confidence, 2),
        )
    return table


def _metrics(repetition: Repetition, words: Words) -> Table:
    table = Table(*metric_columns(words))
    for column in table.columns[2:]:
        column.justify = "right"
    for metric in repetition.metrics:
        if metric.measurable:
            table.add_row(*metric_row(metric, words))
    return table


def _typical(typical: Typical, words: Words) -> Table:
    kind = words(f"kind.{typical.kind.value}")
    heads = [*metric_columns(words), words("typical.column_scatter")]
    table = Table(*heads, title=words("typical.title", kind=kind), title_justify="left")
    for value in typical.values:
        metric = Named(value.key, value.unit)
        table.add_row(
            words.title(metric),
            "" if value.event is None else words.event(value.event),
            words.value(value.value, metric),
            words.interval(value.low, value.high, metric),
            scatter_words(value, words),
        )
    return table


def metric_columns(words: Words) -> list[str]:
    """Return the heads of the columns of `metric_row`."""
    return [words(f"terminal.column_{name}") for name in ("metric", "at", "value", "interval")]


def metric_row(metric: Metric, words: Words) -> tuple[str, str, str, str]:
    """Return title, event, value and interval of a measurable metric."""
    assert metric.value is not None
    assert metric.low is not None
    assert metric.high is not None
    digits = _digits(metric.high - metric.low)
    value, low, high = (words.number(v, digits) for v in (metric.value, metric.low, metric.high))
    return (
        words.title(metric),
        "" if metric.event is None else words.event(metric.event),
        words.with_unit(value, metric.unit),
        words.with_unit(words("number.interval", low=low, high=high), metric.unit),
    )


def not_measurable(repetition: Repetition, words: Words) -> dict[str, list[str]]:
    """Return the titles of the metrics that could not be measured, by reason."""
    reasons: dict[str, list[str]] = {}
    for metric in repetition.metrics:
        if not metric.measurable:
            titles = reasons.setdefault(words.note(metric.reason), [])
            if words.title(metric) not in titles:
                titles.append(words.title(metric))
    return reasons


def _digits(width: float) -> int:
    """Return the decimals that show an interval's width with two figures at most."""
    return 0 if width >= 10 else 1 if width >= 1 else 2 if width >= 0.1 else 3
