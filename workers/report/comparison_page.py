"""The report of one comparison as one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from markupsafe import Markup

from models.contract.comparison import (
    Comparison,
    ComparisonSide,
    Direction,
    MetricDifference,
    Verdict,
)
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.analysis_page import Card
from workers.report.beside_model import Said, said_of
from workers.report.findings import COUNT, one_a_movement
from workers.report.first_screen import FirstScreen
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.page import (
    Cell,
    PagePicture,
    Table,
    TableRow,
    hand,
    page_picture,
    render,
    repetitions,
    row_groups,
    views,
)
from workers.report.plot import difference
from workers.report.side_by_side import pair_name
from workers.report.trajectory import event_key


@dataclass(frozen=True, slots=True)
class DifferencePlot:
    """One difference on its own scale of noise."""

    title: str
    event: str
    plot: Markup


def comparison_page(
    comparison: Comparison,
    pictures: Mapping[str, bytes],
    *,
    path: Markup | None = None,
    path_events: Sequence[tuple[EventName, int]] = (),
    coach: FromCoach = NOTHING,
    words: Words | None = None,
) -> str:
    """Return the report of one comparison.

    Parameters
    ----------
    pictures : mapping of str to bytes
        What `matched_pictures` gave.
    path, path_events : Markup and sequence of (EventName, int)
        What `trajectory_plot` gave, and the events marked in it.
    coach : FromCoach
        What the coach adds.
    """
    words = words or english()
    said = said_of(comparison, words)
    first, second = comparison.first.label, comparison.second.label
    cards = _cards(comparison, said)
    notes = [_side(side, words) for side in (comparison.first, comparison.second)]
    if comparison.mirrored:
        notes.append(words("comparison.mirrored"))
    notes += [words.note(one) for one in comparison.notes]
    shown = _pictures(comparison, pictures, words)
    return render(
        "comparison.html.j2",
        title=words("page.model_title" if said.model else "page.comparison_title"),
        words=words,
        cautions=comparison.cautions,
        first=replace(_first(comparison, pictures, cards, said), coach=coach),
        subtitle=words("comparison.subtitle", first=first, second=second),
        findings_title=words("page.findings" if len(cards) == COUNT else "page.findings_fewer"),
        statements=cards,
        section=said.section,
        linked=_linked(comparison, words),
        pictures=shown,
        path=path,
        path_help=words("comparison.path_help", first=first, second=second),
        path_key=event_key(path_events, words),
        plots=[
            DifferencePlot(words.title(row), words.event(row.event), plot)
            for row in comparison.differences
            if (plot := _plot(row, said)) is not None
        ],
        table=_table(comparison, said),
        notes=notes,
    )


def _first(
    comparison: Comparison, pictures: Mapping[str, bytes], cards: Sequence[Card], said: Said
) -> FirstScreen:
    words = said.words
    leading = next(iter(_shown_rows(comparison)), None)
    pair = _head_pair(comparison, pictures, leading, words)
    under = [comparison.first.label, comparison.second.label] if pair else []
    doing = (
        (said("next" if changed_first(comparison) else "next_alike"), said("caution"))
        if said.model
        else (words(f"comparison.next_{_next(comparison)}"),)
    )
    return FirstScreen(
        cards[0].headline.rstrip(" .") + ".",
        doing,
        pair,
        tuple(under),
    )


def _next(comparison: Comparison) -> Literal["check", "again", "coach"]:
    """Return what to do next: test a change that was wanted, ask about one that was not."""
    changed = changed_first(comparison)
    asked = [row for row in changed if row.focus] or changed
    if not asked:
        return "again"
    if all(row.direction is Direction.TOWARDS for row in asked):
        return "check"
    return "coach"


def _head_pair(
    comparison: Comparison,
    pictures: Mapping[str, bytes],
    leading: MetricDifference | None,
    words: Words,
) -> tuple[PagePicture, ...]:
    """Return the pair at the instant of what leads the page, else the first there is."""
    events = [EventName.LOADING, EventName.CONTACT, EventName.TROPHY, EventName.SET_UP]
    if leading is not None and leading.event is not None:
        events.insert(0, leading.event)
    for event in events:
        for name in (pair_name(event, plain=True), pair_name(event)):
            if name in pictures:
                alt = _alt(comparison, event, words)
                return (page_picture(pictures[name], alt, words.event(event)),)
    return ()


def changed_first(comparison: Comparison) -> list[MetricDifference]:
    """Return what surely changed, then what probably did of what was worked on; the focus first,
    then by change in units of what decides.

    Probable changes of other numbers stand in the table alone: among so many, some are chance.
    """
    changed = [
        row
        for row in comparison.differences
        if row.difference is not None
        and (
            row.verdict is Verdict.SURELY_CHANGED
            or (row.focus and row.verdict is Verdict.PROBABLY_CHANGED)
        )
    ]
    return sorted(changed, key=_rank)


def _rank(row: MetricDifference) -> tuple[bool, bool, float]:
    sure = row.verdict is Verdict.SURELY_CHANGED
    return not row.focus, not sure, -abs(row.difference or 0.0) / (decides(row) or 1.0)


def decides(row: MetricDifference) -> float | None:
    """Return the least difference that decides; of earlier documents, the one they stated."""
    return row.mdc95 if row.threshold is None else row.threshold


def _unmoved_focus(comparison: Comparison) -> list[MetricDifference]:
    """Return what was worked on and has not changed at any event."""
    changed = {row.key for row in changed_first(comparison)}
    rows = [
        row
        for row in comparison.differences
        if row.focus and row.verdict is Verdict.NO_CHANGE_SEEN and row.key not in changed
    ]
    return one_a_movement(rows)


def _shown_rows(comparison: Comparison) -> list[MetricDifference]:
    """Return what the cards are about: what was worked on, then what else has changed."""
    changed = one_a_movement(changed_first(comparison))
    worked_on = [row for row in changed if row.focus]
    return [*worked_on, *_unmoved_focus(comparison), *changed[len(worked_on) :]][:COUNT]


def _cards(comparison: Comparison, said: Said) -> list[Card]:
    rows = _shown_rows(comparison)
    if rows:
        return [_card(row, said) for row in rows]
    compared = sum(row.verdict is not Verdict.CANNOT_TELL for row in comparison.differences)
    if not compared:
        title, text = (said.words(f"comparison.nothing_comparable{e}") for e in ("_title", ""))
    else:
        title, text = said("nothing_title"), said("nothing", count=f"{compared}")
    return [Card(title, (text,), "look", None)]


def _card(row: MetricDifference, said: Said) -> Card:
    words = said.words
    title = f"{words.title(row)} ({words.inside(words.event(row.event))})"
    if row.verdict is Verdict.NO_CHANGE_SEEN:
        headline = said("focus_same", title=title)
        lines = [_detail(row, said)]
        if row.detectable is not None:
            least = words.difference(row.detectable, row, sign=False)
            lines.append(words("comparison.focus_least", least=least))
        return Card(headline, tuple(lines), "look", _plot(row, said))
    more = said.more(row.difference or 0.0)
    sure = row.verdict is Verdict.SURELY_CHANGED
    entry = f"{'surely' if sure else 'probably'}_{'more' if more else 'less'}"
    details = [_detail(row, said)]
    if row.direction is not None:
        details.insert(0, said.way(row.direction))
    tone: Literal["work", "fine", "look"] = "look" if not sure else "work"
    if said.model:  # another body is no goal
        tone = "look"
    elif sure and row.direction is Direction.TOWARDS:
        tone = "fine"
    return Card(said(entry, title=title), tuple(details), tone, _plot(row, said))


def _detail(row: MetricDifference, said: Said) -> str:
    words = said.words
    if (
        row.first is None
        or row.second is None
        or row.difference is None
        or row.low is None
        or row.high is None
        or (threshold := decides(row)) is None
    ):
        return words.note(row.reason)
    return said(
        "changed_detail",
        first=words.value(row.first.value, row),
        second=words.value(row.second.value, row),
        difference=words.difference(row.difference, row),
        interval=words.difference_interval(row.low, row.high, row),
        mdc=words.difference(threshold, row, sign=False),
    )


def _plot(row: MetricDifference, said: Said) -> Markup | None:
    words = said.words
    threshold = decides(row)
    if row.difference is None or row.low is None or row.high is None or not threshold:
        return None
    label = said(
        "plot_alt",
        difference=words.difference(row.difference, row),
        interval=words.difference_interval(row.low, row.high, row),
        mdc=words.difference(threshold, row, sign=False),
        verdict=said(row.verdict.value),
    )
    return difference(label, row.difference, row.low, row.high, threshold)


def _linked(comparison: Comparison, words: Words) -> list[str]:
    titles = {row.key: words.title(row) for row in comparison.differences}
    lines = []
    for link in comparison.linked:
        line = words(
            "comparison.linked",
            part=words(f"comparison.part_{link.part}"),
            titles=", ".join(titles.get(key, key) for key in link.keys),
        )
        if link.correlation is not None:
            line += " " + words(
                "comparison.linked_strength", value=words.number(link.correlation, 1)
            )
        lines.append(line)
    return lines


def _side(side: ComparisonSide, words: Words) -> str:
    return words(
        "comparison.side",
        label=side.label,
        count=repetitions(side.repetitions, words),
        views=views(side.views, words),
        hand=hand(side.handedness, words),
    )


def _pictures(
    comparison: Comparison, pictures: Mapping[str, bytes], words: Words
) -> list[PagePicture]:
    found = []
    for event in EventName:
        name = pair_name(event)
        if name in pictures:
            caption = words(
                "page.picture_caption",
                event=words.event(event),
                about=words(f"event_about.{event.value}"),
            )
            found.append(page_picture(pictures[name], _alt(comparison, event, words), caption))
    return found


def _alt(comparison: Comparison, event: EventName, words: Words) -> str:
    return words(
        "comparison.picture_alt",
        event=words.event(event),
        first=comparison.first.label,
        second=comparison.second.label,
    )


def _table(comparison: Comparison, said: Said) -> Table:
    words = said.words
    columns = (
        words("page.column_what"),
        comparison.first.label,
        comparison.second.label,
        words("comparison.column_difference"),
        said("column_mdc"),
        words("comparison.column_verdict"),
    )
    return Table(
        caption=words(f"kind.{comparison.kind.value}"),
        note="",
        columns=columns,
        groups=row_groups(
            [(row.event, row) for row in comparison.differences],
            lambda row: _row(row, columns, said),
            words,
        ),
    )


def _row(row: MetricDifference, columns: tuple[str, ...], said: Said) -> TableRow:
    words = said.words
    cells = []
    for column, side in zip(columns[1:3], (row.first, row.second), strict=True):
        if side is None:
            cells.append(Cell(column, words("page.not_measurable"), "small"))
        else:
            interval = words.interval(side.low, side.high, row)
            cells.append(Cell(column, f"{words.value(side.value, row)} ({interval})"))
    if row.difference is None or row.low is None or row.high is None:
        cells.append(Cell(columns[3], "–", "none"))
    else:
        interval = words.difference_interval(row.low, row.high, row)
        text = f"{words.difference(row.difference, row)} ({interval})"
        cells.append(Cell(columns[3], text))
    threshold = decides(row)
    noise = "–" if threshold is None else words.difference(threshold, row, sign=False)
    cells.append(Cell(columns[4], noise, "none" if threshold is None else ""))
    verdict = said(row.verdict.value)
    if row.reason:
        verdict = words("comparison.because", verdict=verdict, reason=words.note(row.reason))
    elif row.direction is not None:
        way = said.way(row.direction)
        verdict = words("comparison.because", verdict=verdict, reason=way)
    elif row.verdict is Verdict.NO_CHANGE_SEEN and row.detectable is not None:
        least = words.difference(row.detectable, row, sign=False)
        verdict = said("unseen", verdict=verdict, least=least)
    kind = "verdict changed" if row.verdict is Verdict.SURELY_CHANGED else "small"
    cells.append(Cell(columns[5], verdict, kind))
    return TableRow(words.title(row), words.about(row), tuple(cells))
