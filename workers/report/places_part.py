"""What each camera place of a session says of a value, in words and as inline SVG."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from models.contract.note_codes import NoteCode
from models.contract.session_values import (
    FilmedPlace,
    PlaceValue,
    SessionValue,
    SessionValues,
)
from models.contract.vocabulary import View
from models.words import Words
from workers.report.plot import Svg, ticks

WIDTH, ROW, SCALE = 320.0, 40.0, 28.0
"""Width of a plot, height of a row and of the scale, pixels."""
MARGIN = 16.0
"""Room to the left and right of the scale, pixels."""
COUNTS = 0.05
"""Share of a value from which a place is worth a plot (working value)."""


@dataclass(frozen=True, slots=True)
class PlacePlot:
    """One value, place by place."""

    title: str
    event: str
    plot: Markup


def place_names(places: Sequence[FilmedPlace], words: Words) -> list[str]:
    """Return what each place is called, for the middle of a sentence; no two are called alike."""
    plain = [_name(place, words) for place in places]
    often = Counter(plain)
    return [
        name if often[name] == 1 else words("session.numbered", view=name, number=number)
        for number, name in enumerate(plain, start=1)
    ]


def _name(place: FilmedPlace, words: Words) -> str:
    if place.both_views:
        return words("session.both")
    if place.view is View.UNKNOWN:
        return words("session.unknown")
    return words(f"view.{place.view.value}")


def counting(value: SessionValue) -> list[PlaceValue]:
    """Return the places that a value is taken from: their share is no nought."""
    return [one for one in value.places if round(100 * one.weight)]


def taken_from(value: SessionValue, names: Sequence[str], words: Words) -> str:
    """Return where a value is taken from, with the share of each place where there are several."""
    known = [(names[one.place - 1], round(100 * one.weight)) for one in counting(value)]
    if len(known) == 1:
        return known[0][0]
    return "; ".join(f"{name} ({words.percentage(share / 100)})" for name, share in known)


def said_apart(value: SessionValue, names: Sequence[str], words: Words) -> str:
    """Return what each place says of a value that they disagree about."""
    said = "; ".join(
        words("session.plot_row", place=names[one.place - 1], value=words.value(one.value, value))
        for one in value.places
    )
    return words("session.apart", said=said)


def apart_on(found: SessionValues, words: Words) -> str:
    """Return which values the places disagree about, as a sentence; nothing where they agree."""
    apart = [words.inside(words.title(v)) for v in found.values if v.agree is False]
    titles = ", ".join(dict.fromkeys(apart))
    return words("session.apart_on", titles=titles) if titles else ""


def notes_left(found: SessionValues, words: Words) -> list[str]:
    """Return the notes, but for that on places which disagree: pages say it beside the values."""
    return [words.note(one) for one in found.notes if one.code != NoteCode.PLACES_DISAGREE]


def place_plots(found: SessionValues, words: Words) -> list[PlacePlot]:
    """Return the plots of the values that more than one place counts for, or that places disagree
    about: these come first.
    """
    names = place_names(found.places, words)
    shown = [value for value in found.values if value.agree is False or _mixed(value)]
    shown.sort(key=lambda value: value.agree is not False)
    return [
        PlacePlot(words.title(value), words.event(value.event), plot)
        for value in shown
        if (plot := place_plot(value, names, words)) is not None
    ]


def _mixed(value: SessionValue) -> bool:
    return sum(one.weight >= COUNTS for one in value.places) > 1


def place_plot(value: SessionValue, names: Sequence[str], words: Words) -> Markup | None:
    """Return each place's value with its interval above that of all; None for a single place."""
    if value.value is None or value.low is None or value.high is None or len(value.places) < 2:
        return None
    rows = [
        (words.beginning(names[one.place - 1]), one.value, one.low, one.high)
        for one in value.places
    ]
    rows.append((words("session.together"), value.value, value.low, value.high))
    least, most = min(row[2] for row in rows), max(row[3] for row in rows)
    pad = 0.04 * ((most - least) or 1.0)
    least, most = least - pad, most + pad

    def at(x: float) -> float:
        return MARGIN + (x - least) / (most - least) * (WIDTH - 2 * MARGIN)

    height = len(rows) * ROW + SCALE
    svg = Svg(WIDTH, height, _label(value, names, words))
    share = 100.0 if words.percent(value) else 1.0
    for tick in (one / share for one in ticks(least * share, most * share, 5)):
        svg.line(at(tick), 0.0, at(tick), height - SCALE, "grid")
        text = words.value(tick, value, exact=True)
        svg.text(_inside(at(tick), text), height - 8.0, text, anchor="middle")
    svg.line(MARGIN, height - SCALE, WIDTH - MARGIN, height - SCALE, "axis")
    for number, (name, mean, low, high) in enumerate(rows):
        top = number * ROW
        strong = "strong" if number == len(rows) - 1 else ""
        svg.text(MARGIN, top + 15.0, name, kind=strong)
        svg.text(WIDTH - MARGIN, top + 15.0, words.value(mean, value), anchor="end", kind=strong)
        middle = top + 27.0
        svg.line(at(low), middle, at(high), middle, "interval")
        for end in (low, high):
            svg.line(at(end), middle - 4.0, at(end), middle + 4.0, "interval")
        svg.add(
            "rect", x=at(mean) - 3.5, y=middle - 7.0, width=7.0, height=14.0, rx=1.5, kind="mark"
        )
    return svg.markup()


def _inside(x: float, text: str) -> float:
    """Return a place for a text around x that keeps it inside the plot."""
    half = 4.8 * len(text)
    return min(max(x, half), WIDTH - half)


def _label(value: SessionValue, names: Sequence[str], words: Words) -> str:
    assert value.value is not None
    assert value.low is not None
    assert value.high is not None
    return words(
        "session.plot_alt",
        title=words.title(value),
        rows="; ".join(
            words(
                "session.plot_row",
                place=names[one.place - 1],
                value=words.value(one.value, value),
            )
            for one in value.places
        ),
        value=words.value(value.value, value),
        interval=words.interval(value.low, value.high, value),
    )
