"""Small plots as inline SVG: no script, colours from the page, a text for those who cannot see."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from markupsafe import Markup


class Svg:
    """Writes one SVG picture of a given size in its own units."""

    def __init__(
        self, width: float, height: float, label: str, *, standalone: bool = False
    ) -> None:
        # A file of its own needs a size; inside a page the style sheet gives it.
        size = f'width="{_n(width)}" height="{_n(height)}" ' if standalone else ""
        self._head = (
            f'<svg class="plot" {size}viewBox="0 0 {_n(width)} {_n(height)}" role="img" '
            f'aria-label="{escape(label, quote=True)}" xmlns="http://www.w3.org/2000/svg">'
        )
        self._parts: list[str] = []

    def add(self, tag: str, text: str | None = None, **attributes: object) -> None:
        """Add an element; underscores in attribute names become hyphens, ``kind`` is the class."""
        written = "".join(
            f' {"class" if name == "kind" else name.replace("_", "-")}="{_value(value)}"'
            for name, value in attributes.items()
        )
        body = "/>" if text is None else f">{escape(text)}</{tag}>"
        self._parts.append(f"<{tag}{written}{body}")

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """Add a straight line."""
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, kind=kind)

    def path(self, points: Iterable[tuple[float, float]], kind: str) -> None:
        """Add an open path through points; a NaN breaks it."""
        commands = []
        pen_down = False
        for x, y in points:
            if math.isnan(x) or math.isnan(y):
                pen_down = False
                continue
            commands.append(f"{'L' if pen_down else 'M'}{_n(x)} {_n(y)}")
            pen_down = True
        if commands:
            self.add("path", d=" ".join(commands), kind=kind)

    def text(self, x: float, y: float, text: str, *, anchor: str = "start", kind: str = "") -> None:
        """Add a line of text."""
        self.add("text", text, x=x, y=y, text_anchor=anchor, kind=kind or "label")

    def markup(self) -> Markup:
        """Return the picture, safe to put into a page."""
        return Markup(self._head + "".join(self._parts) + "</svg>")


def _n(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")


def _value(value: object) -> str:
    return _n(value) if isinstance(value, float) else escape(str(value), quote=True)


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Return round numbers that cover low to high, at most about ``most``."""
    if not high > low:
        high = low + 1.0
    raw = (high - low) / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def strip(
    label: str,
    value: float,
    low: float,
    high: float,
    band: tuple[float | None, float | None],
    tick_text: Sequence[tuple[float, str]] | None = None,
) -> Markup:
    """Return one value with its interval on a scale with a shaded range.

    ``tick_text`` gives the places and words of the scale.
    """
    width, margin = 320.0, 18.0
    marks = [value, low, high, *(end for end in band if end is not None)]
    marks += [place for place, _ in tick_text or ()]
    least, most = min(marks), max(marks)
    pad = 0.08 * ((most - least) or 1.0)
    least, most = least - pad, most + pad

    def at(x: float) -> float:
        return margin + (x - least) / (most - least) * (width - 2 * margin)

    svg = Svg(width, 62.0, label)
    left = at(least if band[0] is None else band[0])
    right = at(most if band[1] is None else band[1])
    svg.add("rect", x=left, y=10.0, width=right - left, height=22.0, kind="band")
    svg.line(margin, 32.0, width - margin, 32.0, "axis")
    svg.line(at(low), 21.0, at(high), 21.0, "interval")
    for end in (low, high):
        svg.line(at(end), 16.0, at(end), 26.0, "interval")
    svg.add("rect", x=at(value) - 3.5, y=12.0, width=7.0, height=18.0, rx=1.5, kind="mark")
    for place, text in tick_text or ():
        svg.line(at(place), 32.0, at(place), 37.0, "axis")
        svg.text(at(place), 53.0, text, anchor="middle")
    return svg.markup()


def difference(label: str, value: float, low: float, high: float, noise: float) -> Markup:
    """Return a difference with its interval against the band of noise, in units of the noise."""
    width, margin = 320.0, 14.0
    span = max(2.0, *(abs(v) / noise for v in (value, low, high))) * 1.05

    def at(x: float) -> float:
        return width / 2 + x / noise / span * (width / 2 - margin)

    svg = Svg(width, 34.0, label)
    svg.add("rect", x=at(-noise), y=4.0, width=at(noise) - at(-noise), height=26.0, kind="band")
    svg.line(width / 2, 2.0, width / 2, 32.0, "axis")
    svg.line(at(low), 17.0, at(high), 17.0, "interval")
    for end in (low, high):
        svg.line(at(end), 12.0, at(end), 22.0, "interval")
    svg.add("rect", x=at(value) - 3.5, y=8.0, width=7.0, height=18.0, rx=1.5, kind="mark")
    return svg.markup()
