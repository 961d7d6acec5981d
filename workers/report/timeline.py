"""One metric over sessions as inline SVG: means with intervals, shapes by kind of session."""

from __future__ import annotations

from markupsafe import Markup

from models.contract.progress import MetricProgress, SessionKind, SessionPoint
from models.words import Words
from workers.report.plot import Svg, ticks

WIDTH, HEIGHT = 340.0, 210.0
"""Size of a plot, pixels."""
RIGHT, TOP, BOTTOM = 12.0, 12.0, 36.0
"""Margins, pixels."""
LEAST_LEFT, CHARACTER = 54.0, 8.6
"""Room for the labels of the scale: at least, and for each of their characters."""

INSET, APART = 14.0, 26.0
"""Room at the ends of the time axis and between two points of it, pixels."""


def spread(days: list[float], width: float, apart: float) -> list[float]:
    """Return places from 0 to ``width`` for rising days, never closer than ``apart``.

    What the least distance does not use is shared out in proportion to the days between.
    """
    gaps = len(days) - 1
    if gaps < 1:
        return [width / 2] * len(days)
    apart = min(apart, width / gaps)
    span = (days[-1] - days[0]) or 1.0
    free = width - gaps * apart
    return [i * apart + (day - days[0]) / span * free for i, day in enumerate(days)]


def timeline(metric: MetricProgress, words: Words) -> Markup:
    """Return the plot of one metric; time runs to the right.

    Distances are in true proportion, but two sessions of one day still stand side by side.

    Raises
    ------
    ValueError
        When the series is empty.
    """
    if not metric.series:
        raise ValueError("there is no session to draw")
    points = sorted(metric.series, key=lambda point: point.at)
    start = points[0].at
    days = [(point.at - start).total_seconds() / 86400 for point in points]
    low, high = min(p.low for p in points), max(p.high for p in points)
    pad = 0.06 * ((high - low) or 1.0)
    low, high = low - pad, high + pad

    def y(value: float) -> float:
        return TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM)

    svg = Svg(WIDTH, HEIGHT, _label(metric, points, words))
    share = 100.0 if words.percent(metric) else 1.0
    scale = [tick / share for tick in ticks(low * share, high * share)]
    labels = [words.value(value, metric, exact=True) for value in scale]
    left = max(LEAST_LEFT, 8.0 + CHARACTER * max(map(len, labels), default=0))
    places = spread(days, WIDTH - left - RIGHT - 2 * INSET, APART)
    xs = [left + INSET + place for place in places]
    for value, label in zip(scale, labels, strict=True):
        svg.line(left, y(value), WIDTH - RIGHT, y(value), "grid")
        svg.text(left - 8, y(value) + 5, label, anchor="end")
    svg.line(left, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, "axis")
    svg.path([(x, y(p.value)) for x, p in zip(xs, points, strict=True)], "series")
    for x, point in zip(xs, points, strict=True):
        svg.line(x, y(point.low), x, y(point.high), "interval")
        for end in (point.low, point.high):
            svg.line(x - 4, y(end), x + 4, y(end), "interval")
        shape(svg, x, y(point.value), point.kind)
    edge = -1e9
    for x, point in zip(xs, points, strict=True):
        # A date is written only where it does not run into the one before.
        at = min(max(x, left + 22), WIDTH - RIGHT - 26)
        svg.line(x, HEIGHT - BOTTOM, x, HEIGHT - BOTTOM + 5, "axis")
        if at - edge >= 62:
            svg.text(at, HEIGHT - BOTTOM + 22, words.day(point.at), anchor="middle")
            edge = at
    return svg.markup()


def shape(svg: Svg, x: float, y: float, kind: SessionKind, size: float = 6.0) -> None:
    """Draw the mark of one kind of session: square, circle, diamond or triangle."""
    if kind is SessionKind.BASELINE:
        svg.add("rect", x=x - size, y=y - size, width=2 * size, height=2 * size, kind="shape")
    elif kind is SessionKind.ACQUISITION:
        svg.add("circle", cx=x, cy=y, r=size, kind="shape")
    else:
        far = size * 1.35
        corners = (
            [(x, y - far), (x + far, y), (x, y + far), (x - far, y)]
            if kind is SessionKind.RETENTION
            else [(x, y - far), (x + far, y + size), (x - far, y + size)]
        )
        points = " ".join(f"{px:.1f},{py:.1f}" for px, py in corners)
        svg.add("polygon", points=points, kind="shape")


def key(kind: SessionKind, words: Words) -> Markup:
    """Return a sample of a mark for the legend."""
    svg = Svg(22.0, 22.0, words(f"progress.kind_{kind.value}"))
    shape(svg, 11.0, 11.0, kind)
    return svg.markup()


def _label(metric: MetricProgress, points: list[SessionPoint], words: Words) -> str:
    return words(
        "progress.plot_alt",
        title=words.title(metric),
        count=len(points),
        points="; ".join(
            words(
                "progress.plot_point",
                kind=words(f"progress.kind_{p.kind.value}"),
                date=words.day(p.at),
                value=words.value(p.value, metric),
            )
            for p in points
        ),
        verdict=words(f"progress.verdict_{metric.verdict.value}"),
    )
