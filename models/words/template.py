"""Fills in one template: numbers, lists, tables of words and plurals of one language."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from babel import Locale
from babel.lists import format_list
from babel.numbers import format_decimal

PLAIN = "0.####"
"""How a bare float is written: up to four decimals."""


class Template(string.Formatter):
    """Formatter of one language.

    Parameters
    ----------
    locale : Locale
    minus : str
        The sign that is written for minus.
    find : callable
        Returns an entry of the catalogue by its dotted name, or None.
    """

    def __init__(self, locale: Locale, minus: str, find: Callable[[str], Any]) -> None:
        self._locale = locale
        self._minus = minus
        self._find = find

    def fill(self, name: str, entry: object, values: Mapping[str, object]) -> str:
        """Return a sentence.

        Raises
        ------
        KeyError
            The entry is none, a parameter is missing, or a table lacks a word.
        """
        if isinstance(entry, Mapping) and "other" in entry:
            count = _count(name, values)
            form = "zero" if count == 0 and "zero" in entry else self._locale.plural_form(count)
            entry = entry.get(form, entry["other"])
        if not isinstance(entry, str):
            raise KeyError(f"the {self._locale} catalogue has no words for {name!r}")
        try:
            return self.vformat(entry, (), values)
        except KeyError as error:
            raise KeyError(f"{name!r} needs {error}") from None

    def number(self, value: float, pattern: str) -> str:
        """Return a number by a decimal pattern, without grouping; minus nought is nought."""
        decimals = len(pattern.partition(".")[2])
        rounded = Decimal(f"{value:.{decimals}f}")  # of the float itself, not of how it is printed
        if not rounded:
            pattern, rounded = pattern.lstrip("+"), abs(rounded)
        if pattern.startswith("+"):
            pattern = f"{pattern};-{pattern[1:]}"
        text = format_decimal(rounded, pattern, self._locale, group_separator=False)
        return text.replace("-", self._minus)

    def format_field(self, value: Any, format_spec: str) -> str:
        """Write one parameter; see the package for the formats."""
        if format_spec == "metric" and isinstance(value, str):
            title = self._find(f"metric.{value}.title")
            return title if isinstance(title, str) else value
        if isinstance(value, Sequence) and not isinstance(value, str):
            if format_spec == "names":
                return ", ".join(map(str, value))
            each = [self.format_field(one, format_spec) for one in value]
            return format_list(each, locale=self._locale)
        if format_spec == "percent":
            return self.number(100 * value, "0")
        if format_spec[:1] in ("0", "+"):
            return self.number(value, format_spec)
        if format_spec:
            return self.fill(f"{format_spec}.{value}", self._find(f"{format_spec}.{value}"), {})
        if isinstance(value, float):
            return self.number(value, PLAIN)
        return str(value)


def _count(name: str, values: Mapping[str, object]) -> float:
    count = values.get("count")
    if not isinstance(count, int | float):
        raise KeyError(f"{name!r} needs a count")
    return count
