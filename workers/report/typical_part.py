"""The typical one of several repetitions in words: sentences, and a table of values."""

from __future__ import annotations

from collections.abc import Iterable

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.typical import ENOUGH, Differing, Typical, TypicalValue
from models.words import Words
from models.words.words import Named
from workers.report.page import Cell, Table, TableRow, row_groups

SAID = 3
"""Differences named of one repetition; the rest are counted."""


def typical_lines(typical: Typical, words: Words) -> list[str]:
    """Return which repetition is the most typical, and which differ in what."""
    kind = words(f"kind.{typical.kind.value}")
    count = len(typical.numbers)
    lines = [words("typical.nearest", count=count, kind=kind, number=typical.most_typical)]
    if count < ENOUGH:
        return [*lines, words("typical.too_few")]
    apart: dict[int, list[Differing]] = {}
    for one in typical.differing:
        apart.setdefault(one.repetition, []).append(one)
    for number, found in apart.items():
        first = _one_a_movement(found)
        said = "; ".join(_difference(one, words) for one in first[:SAID])
        if len(first) > SAID:
            said += words("typical.more", count=len(first) - SAID)
        lines.append(words("typical.differs", kind=kind, number=number, what=said))
    return lines if apart else [*lines, words("typical.alike")]


def typical_table(typical: Typical, words: Words) -> Table:
    """Return typical values with their intervals and how much repetitions differ."""
    columns = (
        *(words(f"page.column_{name}") for name in ("what", "value", "interval")),
        words("typical.column_scatter"),
    )
    return Table(
        caption=words("typical.title", kind=words(f"kind.{typical.kind.value}")),
        note=words("typical.note"),
        columns=columns,
        groups=row_groups(
            [(value.event, value) for value in typical.values],
            lambda value: _row(value, columns, words),
            words,
        ),
    )


def scatter_words(value: TypicalValue, words: Words) -> str:
    """Return how much repetitions differ, and whether that is more than measuring explains."""
    metric = Named(value.key, value.unit)
    said = words.difference(value.scatter, metric, sign=False)
    if value.measuring is not None and value.scatter <= value.measuring:
        return words("typical.by_measuring", scatter=said)
    return said


def _row(value: TypicalValue, columns: tuple[str, ...], words: Words) -> TableRow:
    metric = Named(value.key, value.unit)
    cells = (
        Cell(columns[1], words.value(value.value, metric), "value"),
        Cell(columns[2], words.interval(value.low, value.high, metric)),
        Cell(columns[3], scatter_words(value, words)),
    )
    return TableRow(words.title(metric), words.about(metric), cells)


def _difference(one: Differing, words: Words) -> str:
    metric = Named(one.key, one.unit)
    title = words.title(metric)
    if one.event is not None:
        title += f" ({words.inside(words.event(one.event))})"
    return words(
        "typical.difference",
        title=title,
        value=words.value(one.value, metric),
        others=words.value(one.others, metric),
    )


def _one_a_movement(found: Iterable[Differing]) -> list[Differing]:
    """Return the first difference of every movement: its variants say the same."""
    first: dict[str, Differing] = {}
    for one in found:
        first.setdefault(CATALOGUE.movement(one.key), one)
    return list(first.values())
