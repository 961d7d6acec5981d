"""The words of one language, and values, intervals and dates written for people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, Protocol, runtime_checkable

from babel import Locale
from babel.dates import format_datetime

from models.contract.metrics.units import facts
from models.words.template import Template

THIN = "\N{NO-BREAK SPACE}"


class Measured(Protocol):
    """What a metric needs to be written down: an analysis metric or a compared one."""

    @property
    def key(self) -> str:
        """Metric key of the contract."""
        ...

    @property
    def title(self) -> str:
        """English title of the engine, used when the catalogue has none."""
        ...

    @property
    def unit(self) -> str:
        """Unit of the values."""
        ...


@dataclass(frozen=True, slots=True)
class Named:
    """A metric known by its key and unit only."""

    key: str
    unit: str

    @property
    def title(self) -> str:
        """The key as a title, used only where the catalogue has none."""
        return self.key.replace("_", " ").capitalize()


@runtime_checkable
class Stated(Protocol):
    """A note of a document: a code, its parameters, and the English sentence it was made with."""

    @property
    def code(self) -> str:
        """Code of the note; ``text`` is a sentence that somebody wrote."""
        ...

    @property
    def parameters(self) -> Mapping[str, Any]:
        """What the sentence names; notes among them are sentences of their own."""
        ...

    @property
    def text(self) -> str:
        """English sentence."""
        ...


class Words:
    """The words of one language. A missing entry raises ``KeyError`` with its full name."""

    def __init__(self, entries: Mapping[str, Any]) -> None:
        self._entries = entries
        self._locale = Locale.parse(self.language, sep="-")
        self._sentences = {
            str(one["of"]): str(one["words"]) for one in self._entries.get("sentence", ())
        }
        self._template = Template(self._locale, str(self.find("number.minus")), self.find)

    @property
    def entries(self) -> Mapping[str, Any]:
        """All templates as read, tables within tables."""
        return self._entries

    @property
    def language(self) -> str:
        """BCP 47 tag for the ``lang`` attribute."""
        return str(self._entries["language"])

    @property
    def direction(self) -> str:
        """``ltr`` or ``rtl``."""
        return self._locale.text_direction

    def find(self, key: str) -> Any:
        """Return an entry by its dotted name, or None."""
        node: Any = self._entries
        for part in key.split("."):
            if not isinstance(node, Mapping) or part not in node:
                return None
            node = node[part]
        return node

    def __call__(self, key: str, /, **values: object) -> str:
        """Return the words of a dotted name, filled in."""
        return self._template.fill(key, self.find(key), values)

    def note(self, note: Stated | None) -> str:
        """Return a note in this language, or nothing; or what somebody wrote."""
        if note is None:
            return ""
        if note.code == "text":
            return self.sentence(note.text)
        return self(f"note.{note.code}", **self._said(note.parameters))

    def _said(self, parameters: Mapping[str, Any]) -> dict[str, object]:
        return {
            name: self.note(value)
            if isinstance(value, Stated)
            else self.sentence(value)
            if isinstance(value, str)
            else value
            for name, value in parameters.items()
        }

    def inside(self, text: str) -> str:
        """Return words that stand inside a sentence: without their capital, but for nouns."""
        return text if self.find("capital_nouns") else text[:1].lower() + text[1:]

    def beginning(self, text: str) -> str:
        """Return words that begin a line, with a capital."""
        return text[:1].upper() + text[1:]

    def event(self, event: StrEnum | None) -> str:
        """Return the name of an event, or of the whole movement."""
        return self(f"event.{event.value if event else 'whole'}")

    def title(self, metric: Measured) -> str:
        """Return a metric's title in this language, or the engine's own where there is none."""
        found = self.find(f"metric.{metric.key}.title")
        return found if isinstance(found, str) else metric.title

    def about(self, metric: Measured) -> str:
        """Return one plain sentence on a metric, or nothing."""
        found = self.find(f"metric.{metric.key}.about")
        return found if isinstance(found, str) else ""

    def method(self, method: str) -> str:
        """Return a method in plain words, or as it is."""
        found = self.find(f"method.{method}")
        return found if isinstance(found, str) else method

    def percent(self, metric: Measured) -> bool:
        """Whether a ratio reads better as a percentage."""
        return metric.unit == "1" and self.find(f"metric.{metric.key}.percent") is True

    def number(self, value: float, decimals: int, *, sign: bool = False) -> str:
        """Return a bare number with a true minus sign."""
        pattern = "0." + "0" * decimals if decimals else "0"
        return self._template.number(value, f"+{pattern}" if sign else pattern)

    def figures(self, value: float, figures: int, *, sign: bool = False) -> str:
        """Return a bare number with that many significant figures."""
        rounded = Decimal(f"{value:.{figures}g}")
        exponent = rounded.as_tuple().exponent
        decimals = max(0, -exponent) if isinstance(exponent, int) else 0
        return self.number(float(rounded), decimals, sign=sign)

    def value(
        self, value: float, metric: Measured, *, sign: bool = False, exact: bool = False
    ) -> str:
        """Return a value with its unit, as precise as the film can be.

        ``exact`` is for limits that someone has set: all their digits and no more.
        """
        if self.percent(metric):
            value, decimals, unit = 100 * value, 0, "percent"
        else:
            decimals, unit = facts(metric.unit).read, metric.unit
        if exact:
            decimals = next((d for d in range(4) if abs(round(value, d) - value) < 1e-9), 4)
        text = self.number(value, decimals, sign=sign)
        return self.with_unit(text, unit)

    def difference(self, value: float, metric: Measured, *, sign: bool = True) -> str:
        """Return a difference of two values; of percentages, in points."""
        if not self.percent(metric):
            return self.value(value, metric, sign=sign)
        text = self.number(100 * value, 0, sign=sign)
        return self("number.points", value=text, count=abs(round(100 * value))).replace(" ", THIN)

    def difference_interval(self, low: float, high: float, metric: Measured) -> str:
        """Return the interval of a difference."""
        return self(
            "number.interval",
            low=self.difference(low, metric),
            high=self.difference(high, metric),
        )

    def _unit(self, unit: str, text: str) -> str:
        # Units hold a slash, never a dot, so they are looked up directly.
        return str(self.find("number")[unit]).format(value=text).replace(" ", THIN)

    def interval(self, low: float, high: float, metric: Measured) -> str:
        """Return an interval with its unit."""
        return self("number.interval", low=self.value(low, metric), high=self.value(high, metric))

    def seconds(self, time_s: float, decimals: int = 2) -> str:
        """Return a time in seconds."""
        return self._unit("s", self.number(time_s, decimals))

    def day(self, at: datetime) -> str:
        """Return a date without its year, short."""
        return self._date("day", at)

    def date(self, at: datetime) -> str:
        """Return a date with its year."""
        return self._date("date", at)

    def moment(self, at: datetime) -> str:
        """Return a date with its year and the time of day."""
        return self._date("moment", at)

    def _date(self, entry: str, at: datetime) -> str:
        return format_datetime(at, str(self.find("number")[entry]), locale=self._locale)

    def with_unit(self, text: str, unit: str) -> str:
        """Return a number or an interval, already written, with its unit."""
        if self.find("number").get(unit) is None:
            return self("number.other", value=text, unit=unit).replace(" ", THIN)
        return self._unit(unit, text)

    def sentence(self, text: str) -> str:
        """Return a sentence that comes as data (shipped rule, published value) in this language.

        What has no other wording here, as the words of a coach, stays as it is.
        """
        return self._sentences.get(text, text)

    def percentage(self, share: float) -> str:
        """Return a share of one as a whole percentage."""
        return self("number.percent", value=self.number(100 * share, 0)).replace(" ", THIN)

    def metres(self, length_m: float) -> str:
        """Return a length in metres."""
        return self._unit("m", self.number(length_m, 2))
