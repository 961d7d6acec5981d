"""Parts that all pages share: the template environment, pictures as data, tables."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Protocol, TypeVar, runtime_checkable

import jinja2
from markupsafe import Markup
from PIL import Image

from models.contract.note import Note
from models.contract.vocabulary import EventName, Handedness, View
from models.words import Measured, Words
from workers.report.branded import colours_of
from workers.report.cautions import cautions_of
from workers.report.from_coach import FromCoach

T = TypeVar("T")


@runtime_checkable
class HasCoach(Protocol):
    """What every page begins with: it holds what the coach adds."""

    @property
    def coach(self) -> FromCoach:
        """What the coach adds."""


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A picture inside the page."""

    source: str
    alt: str
    caption: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table; ``label`` names its column where the table is shown as a list."""

    label: str
    text: str
    kind: str = ""
    span: int = 1


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row of a table."""

    title: str
    about: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class RowGroup:
    """Rows of one event."""

    title: str
    about: str
    rows: tuple[TableRow, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table in groups."""

    caption: str
    note: str
    columns: tuple[str, ...]
    groups: tuple[RowGroup, ...]


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("workers.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
    )


def render(
    template: str, *, title: str, words: Words, cautions: Iterable[Note], **values: object
) -> str:
    """Return a whole page as text; every page carries its cautions beside what they concern."""
    environment = _environment()
    first = values["first"]
    assert isinstance(first, HasCoach)
    light, dark = colours_of(first.coach.brand)
    source = jinja2.PackageLoader("workers.report").get_source(environment, "page.css")[0]
    return environment.get_template(template).render(
        title=title,
        words=words,
        cautions=cautions_of(cautions, words),
        light=light,
        dark=dark,
        brand=first.coach.brand,
        css=Markup(source),
        **values,
    )


def page_picture(data: bytes, alt: str, caption: str) -> PagePicture:
    """Return a JPEG or PNG as part of the page."""
    with Image.open(io.BytesIO(data)) as image:
        width, height = image.size
        kind = {"JPEG": "image/jpeg", "PNG": "image/png"}[str(image.format)]
    encoded = base64.b64encode(data).decode("ascii")
    return PagePicture(f"data:{kind};base64,{encoded}", alt, caption, width, height)


def by_event(
    rows: Sequence[tuple[EventName | None, T]],
) -> Mapping[EventName | None, list[T]]:
    """Group rows by event, in the order of the serve; the whole movement comes last."""
    groups: dict[EventName | None, list[T]] = {event: [] for event in (*EventName, None)}
    for event, row in rows:
        groups[event].append(row)
    return {event: found for event, found in groups.items() if found}


def row_groups(
    rows: Sequence[tuple[EventName | None, T]], row: Callable[[T], TableRow], words: Words
) -> tuple[RowGroup, ...]:
    """Return what stands at each event as rows of a table, grouped as `by_event` does."""
    return tuple(
        RowGroup(
            words.event(event),
            words(f"event_about.{event.value if event else 'whole'}"),
            tuple(row(one) for one in found),
        )
        for event, found in by_event(rows).items()
    )


class Missing(Measured, Protocol):
    """A metric without a value."""

    @property
    def event(self) -> EventName | None:
        """Where it would be taken."""

    @property
    def reason(self) -> Note | None:
        """Why there is none."""


def missing_rows(
    metrics: Iterable[Missing], columns: Sequence[str], words: Words
) -> list[RowGroup]:
    """Return what could not be measured, one row a reason."""
    by_reason: dict[str, list[str]] = {}
    for metric in metrics:
        name = words.title(metric)
        if metric.event is not None:
            name += f" ({words.inside(words.event(metric.event))})"
        by_reason.setdefault(words.note(metric.reason), []).append(name)
    if not by_reason:
        return []
    span = len(columns) - 1
    rows = tuple(
        TableRow(reason, "", (Cell(words("page.not_measurable"), ", ".join(names), "small", span),))
        for reason, names in by_reason.items()
    )
    return [RowGroup(words("page.missing"), words("page.missing_about"), rows)]


def repetitions(count: int, words: Words) -> str:
    """Return a number of repetitions in words."""
    return words("page.count", count=count)


def views(labels: Sequence[View], words: Words) -> str:
    """Return views in words."""
    return ", ".join(words(f"view.{label.value}") for label in labels)


def hand(handedness: Handedness, words: Words) -> str:
    """Return the hand in words."""
    return words(f"hand.{handedness.value}")
