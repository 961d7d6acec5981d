"""The report of one session, filmed from several places in turn, as one self-contained file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from models.contract.session_values import SessionValue, SessionValues
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.analysis_page import Card, card
from workers.report.findings import BANDS, COUNT, Pooled, Statement, in_ranges
from workers.report.first_screen import FirstScreen
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.goals import thresholds_or_shipped
from workers.report.page import (
    Cell,
    PagePicture,
    Table,
    TableRow,
    missing_rows,
    page_picture,
    render,
    repetitions,
    row_groups,
)
from workers.report.places_part import (
    apart_on,
    counting,
    notes_left,
    place_names,
    place_plot,
    place_plots,
    said_apart,
    taken_from,
)


@dataclass(frozen=True, slots=True)
class PlacePicture:
    """An instant as one place shows it, JPEG; ``place`` is its number, counted from one."""

    place: int
    event: EventName
    data: bytes


def session_page(
    found: SessionValues,
    pictures: Sequence[PlacePicture],
    *,
    thresholds: Sequence[Threshold] | None = None,
    player: str | None = None,
    coach: FromCoach = NOTHING,
    words: Words | None = None,
) -> str:
    """Return the report of one session.

    Parameters
    ----------
    pictures : sequence of PlacePicture
        The first two head the page.
    thresholds : sequence of Threshold or None
        What the practice rules hold values against; None = the shipped ones.
    player : str or None
        Name to print, as the integrating app calls the player.
    coach : FromCoach
        What the coach adds.
    """
    words = words or english()
    names = place_names(found.places, words)
    shown = _statements(found, names, thresholds_or_shipped(thresholds), words)
    cards = [card(statement, words) for statement in shown]
    return render(
        "session.html.j2",
        title=words("page.session_title"),
        words=words,
        cautions=found.cautions,
        first=replace(_first(found, shown, cards, pictures, names, words), coach=coach),
        player=player,
        lead=_lead(found, names, words),
        none_found=not found.places,
        findings_title=words("page.findings" if len(cards) == COUNT else "page.findings_fewer"),
        statements=cards,
        apart=apart_on(found, words),
        plots=place_plots(found, words),
        table=_table(found, names, words),
        notes=notes_left(found, words),
    )


def _lead(found: SessionValues, names: Sequence[str], words: Words) -> str:
    return words(
        "session.lead",
        count=repetitions(sum(place.repetitions for place in found.places), words),
        views="; ".join(names),
    )


def _statements(
    found: SessionValues, names: Sequence[str], thresholds: Sequence[Threshold], words: Words
) -> list[Statement]:
    """Return up to three statements: what calls for work and is sure first."""
    values = {(value.key, value.event): value for value in found.values}

    def number(key: str, event: EventName) -> Pooled | None:
        value = values.get((key, event))
        if value is None or value.value is None or value.low is None or value.high is None:
            return None
        count = sum(one.repetitions for one in counting(value))
        return Pooled(value, value.value, value.low, value.high, count)

    graded = sorted(in_ranges(number, thresholds, words), key=lambda one: one[:2])
    chosen = [_placed(statement, names, words) for _, _, statement in graded[:COUNT]]
    if len(chosen) < COUNT:
        said = _missing(found, words)
        title = words("finding.not_enough_title")
        chosen.append(Statement(title, (words("finding.not_enough", reason=said),), "look"))
    return chosen


def _missing(found: SessionValues, words: Words) -> str:
    """Return why the first value that is judged is missing, or how to film better."""
    ranked = {(band.key, band.event): rank for rank, band in enumerate(BANDS)}
    missing = [v for v in found.values if v.reason is not None and (v.key, v.event) in ranked]
    if not missing:
        return words("finding.not_enough_default")
    first = min(missing, key=lambda value: ranked[value.key, value.event])  # type: ignore[index]
    title = f"{words.title(first)} ({words.inside(words.event(first.event))})"
    return words("comparison.because", verdict=title, reason=words.note(first.reason))


def _placed(statement: Statement, names: Sequence[str], words: Words) -> Statement:
    """Add where the value of a statement is taken from, and whether the places disagree."""
    assert statement.number is not None
    value = statement.number.metric
    assert isinstance(value, SessionValue)
    details = [*statement.details, words("session.taken", places=taken_from(value, names, words))]
    if value.agree is False:
        details.append(said_apart(value, names, words))
        return replace(statement, details=tuple(details), tone="look")
    return replace(statement, details=tuple(details))


def _first(
    found: SessionValues,
    shown: Sequence[Statement],
    cards: Sequence[Card],
    pictures: Sequence[PlacePicture],
    names: Sequence[str],
    words: Words,
) -> FirstScreen:
    if not found.places:
        lines = (words("page.none_found_advice"),)
        return FirstScreen(" ".join(words.note(one) for one in found.notes), lines)
    pair = _pair(pictures, names, words)
    plot, title = None, ""
    if not pair and shown[0].number is not None:
        value = shown[0].number.metric
        assert isinstance(value, SessionValue)
        plot = place_plot(value, names, words)
        title = f"{words.title(value)} ({words.inside(words.event(value.event))})"
    sentence = cards[0].headline.rstrip(" .") + "."
    return FirstScreen(sentence, _next(found, cards, words), pair, plot=plot, plot_title=title)


def _next(found: SessionValues, cards: Sequence[Card], words: Words) -> tuple[str, ...]:
    """Return what to do next: film again where the places disagree, else by what was found."""
    if any(value.agree is False for value in found.values):
        return (words("session.next_apart"),)
    first = cards[0]
    open_still = first.tone == "fine" and any(one.tone != "fine" for one in cards)
    if open_still or first.tone == "look":
        return (words(f"session.next_{'look' if len(found.places) > 1 else 'one'}"),)
    return (words(f"page.next_{first.tone}"),)


def _pair(
    pictures: Sequence[PlacePicture], names: Sequence[str], words: Words
) -> tuple[PagePicture, ...]:
    return tuple(
        page_picture(
            one.data,
            words(
                "session.picture_alt",
                event=words.event(one.event),
                place=names[one.place - 1],
            ),
            words(
                "session.picture",
                place=words.beginning(names[one.place - 1]),
                event=words.inside(words.event(one.event)),
            ),
        )
        for one in pictures[:2]
    )


def _table(found: SessionValues, names: Sequence[str], words: Words) -> Table:
    columns = (
        words("page.column_what"),
        words("page.column_value"),
        words("page.column_interval"),
        words("session.column_from"),
    )
    measured = [value for value in found.values if value.value is not None]
    shown = row_groups(
        [(value.event, value) for value in measured],
        lambda value: _row(value, columns, names, words),
        words,
    )
    missing = missing_rows([v for v in found.values if v.value is None], columns, words)
    return Table(
        caption=words(f"kind.{found.kind.value}"),
        note="",
        columns=columns,
        groups=(*shown, *missing),
    )


def _row(
    value: SessionValue, columns: tuple[str, ...], names: Sequence[str], words: Words
) -> TableRow:
    assert value.value is not None
    assert value.low is not None
    assert value.high is not None
    taken = taken_from(value, names, words)
    if value.agree is False:
        taken = f"{taken}. {said_apart(value, names, words)}"
    cells = (
        Cell(columns[1], words.value(value.value, value), "value"),
        Cell(columns[2], words.interval(value.low, value.high, value)),
        Cell(columns[3], taken, "small"),
    )
    return TableRow(words.title(value), words.about(value), cells)
