"""The report of a player's progress as one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time

from markupsafe import Markup

from models.contract.progress import (
    MetricProgress,
    PracticeWeek,
    Progress,
    RetentionScore,
    RetentionVerdict,
    SessionKind,
)
from models.words import Words, english
from workers.report.analysis_page import Card
from workers.report.comparison_page import DifferencePlot
from workers.report.findings import COUNT, one_a_movement
from workers.report.first_screen import FirstScreen
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.page import Cell, Table, TableRow, render, row_groups
from workers.report.places_part import PlacePlot, apart_on, notes_left, place_plots
from workers.report.timeline import key, timeline

ORDER: tuple[RetentionVerdict, ...] = (
    RetentionVerdict.LOST,
    RetentionVerdict.PARTLY_HELD,
    RetentionVerdict.HELD,
    RetentionVerdict.TOO_EARLY,
    RetentionVerdict.UNCLEAR,
    RetentionVerdict.NO_GAIN,
)
"""What leads the page: what has slipped, what stayed, what is open."""


@dataclass(frozen=True, slots=True)
class KeyEntry:
    """One entry of the legend."""

    plot: Markup
    text: str


@dataclass(frozen=True, slots=True)
class FromPlaces:
    """A session that was filmed from several places."""

    title: str
    plots: tuple[PlacePlot, ...]
    notes: tuple[str, ...]


def progress_page(
    progress: Progress,
    *,
    coach: FromCoach = NOTHING,
    words: Words | None = None,
) -> str:
    """Return the report of a player's progress; ``coach`` is what the coach adds."""
    words = words or english()
    cards = _cards(progress, words)
    kinds = {point.kind for metric in progress.metrics for point in metric.series}
    return render(
        "progress.html.j2",
        title=words("page.progress_title"),
        words=words,
        cautions=progress.cautions,
        first=replace(_first(progress, cards, words), coach=coach),
        player=progress.player,
        findings_title=words("page.findings" if len(cards) == COUNT else "page.findings_fewer"),
        statements=cards,
        keys=[
            KeyEntry(key(kind, words), words(f"progress.kind_{kind.value}"))
            for kind in SessionKind
            if kind in kinds
        ],
        plots=[
            DifferencePlot(words.title(m), words.event(m.event), timeline(m, words))
            for m in _ranked(progress)
            if len(m.series) > 1
        ],
        table=_table(progress, words),
        practised=_practised(progress, words),
        weeks=_weeks(progress, words),
        notes=[words.note(one) for one in progress.notes],
        sessions=_sessions(progress, words),
    )


def _first(progress: Progress, cards: Sequence[Card], words: Words) -> FirstScreen:
    """Return the answer, the course of what it is about, and when to film next."""
    answer = words("progress.nothing") if not cards else cards[0].headline.rstrip(" .") + "."
    if progress.answer is not None:
        answer = words.note(progress.answer)
    leading = next((m for m in _ranked(progress) if len(m.series) > 1), None)
    title = "" if leading is None else f"{words.title(leading)} ({words.event(leading.event)})"
    plot = None if leading is None else timeline(leading, words)
    return FirstScreen(answer, tuple(_next(progress, words)), plot=plot, plot_title=title)


def _ranked(progress: Progress) -> list[MetricProgress]:
    return sorted(
        progress.metrics,
        key=lambda m: (
            not m.focus,
            ORDER.index(m.verdict),
            -abs(m.gain or 0.0) / (decides(m) or float("inf")),
        ),
    )


def decides(metric: MetricProgress) -> float | None:
    """Return the least gain that decides; of earlier documents, the one they stated."""
    return metric.gain_mdc95 if metric.gain_threshold is None else metric.gain_threshold


def _cards(progress: Progress, words: Words) -> list[Card]:
    tones = {RetentionVerdict.HELD: "fine", RetentionVerdict.LOST: "work"}
    cards = []
    for metric in one_a_movement(_ranked(progress))[:COUNT]:
        details = [words.note(metric.reason)]
        if metric.gain is not None:
            gain = words.difference(metric.gain, metric)
            details.append(
                words("progress.detail_gain_plain", gain=gain)
                if (least := decides(metric)) is None
                else words(
                    "progress.detail_gain",
                    gain=gain,
                    mdc=words.difference(least, metric, sign=False),
                )
            )
        if metric.retention is not None:
            details.append(
                words(
                    "progress.detail_retention",
                    delay=_delay(metric.retention.delay_hours, words),
                    value=words.percentage(metric.retention.value),
                    interval=_interval(metric.retention, words),
                )
            )
        title = f"{words.title(metric)} ({words.inside(words.event(metric.event))})"
        headline = words(f"progress.found_{metric.verdict.value}", title=title)
        cards.append(Card(headline, tuple(details), tones.get(metric.verdict, "look"), None))
    return cards


def _next(progress: Progress, words: Words) -> list[str]:
    """Return what to do next, the date first."""
    check = progress.next_check
    lines = []
    if check is None:
        lines.append(words("progress.next_none"))
    elif progress.relapse is not None:
        dates = progress.relapse
        lines.append(
            words(
                "progress.relapse_dates",
                until=words.date(dates.practise_until),
                first=words.date(dates.check.not_before),
                last=words.date(dates.check.not_after),
            )
        )
    else:
        kind = words.beginning(words(f"progress.kind_{check.kind.value}"))
        first, last = words.moment(check.not_before), words.moment(check.not_after)
        lines.append(words("progress.next_when", kind=kind, first=first, last=last))
    if check is not None:
        lines.append(words.note(check.reason))
    again = progress.relapse
    if again is not None and again.cycle is not None and again.starts_at is not None:
        start = words.date(again.starts_at)
        lines.append(words("progress.cycle_starts", number=again.cycle, start=start))
    elif progress.cycle_since is not None and progress.cycle > 1:
        since = words.date(progress.cycle_since)
        entry = "cycle_after_relapse" if progress.after_relapse else "cycle"
        lines.append(words(f"progress.{entry}", number=progress.cycle, since=since))
    return lines


def _sessions(progress: Progress, words: Words) -> list[FromPlaces]:
    return [
        FromPlaces(
            f"{words.date(one.at)}, {words(f'progress.kind_{one.kind.value}')}",
            tuple(place_plots(one.values, words)),
            tuple(filter(None, (apart_on(one.values, words), *notes_left(one.values, words)))),
        )
        for one in progress.sessions
    ]


def _practised(progress: Progress, words: Words) -> list[str]:
    """Return the repetitions practised in total; by kind alone in earlier documents."""
    lines = [words("progress.weeks_total", amount=_amount(one, words)) for one in progress.total]
    counted = [
        words(f"progress.{kind.value}s", count=count)
        for kind, count in progress.repetitions_practised.items()
    ]
    return lines or counted or [words("page.count", count=0)]


def _weeks(progress: Progress, words: Words) -> list[str]:
    lines = []
    for one in progress.weeks:
        if one.week is not None:
            monday = datetime.combine(one.week, time(), UTC)
            amount = _amount(one, words)
            lines.append(words("progress.week", date=words.date(monday), amount=amount))
    return lines


def _amount(one: PracticeWeek, words: Words) -> str:
    """Return what was planned, filmed and good of one kind."""
    filmed = words("progress.filmed", count=words(f"progress.{one.kind.value}s", count=one.filmed))
    parts = [filmed]
    if one.planned is not None:
        parts.insert(0, words("progress.planned", count=one.planned))
    if one.good is not None and one.judged is not None:
        parts.append(words("progress.good", good=one.good, judged=one.judged))
    return ", ".join(parts)


def _table(progress: Progress, words: Words) -> Table:
    columns = (
        words("page.column_what"),
        words.beginning(words("progress.kind_baseline")),
        words("progress.column_gain"),
        words("progress.column_kept"),
        words("progress.column_transfer"),
        words("progress.column_verdict"),
    )
    return Table(
        caption=words("page.player", player=progress.player),
        note="",
        columns=columns,
        groups=row_groups(
            [(metric.event, metric) for metric in progress.metrics],
            lambda metric: _row(metric, columns, words),
            words,
        ),
    )


def _row(metric: MetricProgress, columns: tuple[str, ...], words: Words) -> TableRow:
    none = words("progress.no_value")
    baseline = next((p for p in metric.series if p.kind is SessionKind.BASELINE), None)
    cells = []
    if baseline is None:
        cells.append(Cell(columns[1], none, "none"))
    else:
        interval = words.interval(baseline.low, baseline.high, metric)
        cells.append(Cell(columns[1], f"{words.value(baseline.value, metric)} ({interval})"))
    if metric.gain is None:
        cells.append(Cell(columns[2], none, "none"))
    else:
        cells.append(Cell(columns[2], words.difference(metric.gain, metric)))
    for column, score in ((columns[3], metric.retention), (columns[4], metric.transfer)):
        if score is None:
            cells.append(Cell(column, none, "none"))
        else:
            text = f"{words.percentage(score.value)} ({_interval(score, words)})"
            cells.append(Cell(column, text))
    verdict = words(f"progress.verdict_{metric.verdict.value}")
    cells.append(
        Cell(
            columns[5],
            words("comparison.because", verdict=verdict, reason=words.note(metric.reason)),
        )
    )
    return TableRow(words.title(metric), words.about(metric), tuple(cells))


def _interval(score: RetentionScore, words: Words) -> str:
    return words(
        "number.interval", low=words.percentage(score.low), high=words.percentage(score.high)
    )


def _delay(hours: float, words: Words) -> str:
    if hours < 48:
        return words("progress.hours", count=round(hours))
    return words("progress.days", count=round(hours / 24))
