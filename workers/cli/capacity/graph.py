"""A small line graph as an SVG file of its own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from workers.report.plot import Svg, ticks

WIDTH, HEIGHT = 560.0, 260.0
"""Size of a graph, pixels."""
LEFT, RIGHT, TOP, BOTTOM = 64.0, 540.0, 34.0, 214.0
"""Edges of the plotted area, pixels."""
STYLE = (
    "text{font:12px sans-serif;fill:#333}.title{font-size:13px;font-weight:bold}"
    ".axis{stroke:#999;stroke-width:1}.a,.b,.c,.d{fill:none;stroke-width:2}"
    ".a{stroke:#0b5fa5}.b{stroke:#b3541e}.c{stroke:#3a7d44}.d{stroke:#7a4b9a}"
)
KINDS = "abcd"


def graph(
    title: str,
    across: str,
    up: str,
    lines: Mapping[str, Sequence[tuple[float, float]]],
    *,
    decades: bool = False,
) -> str:
    """Return an SVG with a line for each name.

    Parameters
    ----------
    lines : mapping
        Points (x, y) by name; at most four lines.
    decades : bool
        The x axis is logarithmic.
    """

    def place(x: float) -> float:
        return math.log10(x) if decades else x

    points = [point for line in lines.values() for point in line]
    low, high = min(place(x) for x, _ in points), max(place(x) for x, _ in points)
    top = max([y for _, y in points] + [1e-9])

    def at(x: float, y: float) -> tuple[float, float]:
        share = (place(x) - low) / max(high - low, 1e-9)
        return LEFT + share * (RIGHT - LEFT), BOTTOM - y / top * (BOTTOM - TOP)

    svg = Svg(WIDTH, HEIGHT, title, standalone=True)
    svg.add("style", STYLE)
    svg.text(LEFT, 18.0, title, kind="title")
    svg.line(LEFT, BOTTOM, RIGHT, BOTTOM, "axis")
    svg.line(LEFT, TOP, LEFT, BOTTOM, "axis")
    marks = [10.0**k for k in range(math.ceil(low), math.floor(high) + 1)] if decades else None
    for x in marks or [one for one in ticks(low, high, 8) if one == int(one)]:
        left, _ = at(x, 0.0)
        svg.text(left, BOTTOM + 16.0, f"{x:,.0f}", anchor="middle")
    for y in ticks(0.0, top):
        _, down = at(points[0][0], y)
        svg.text(LEFT - 6.0, down + 4.0, f"{y:g}", anchor="end")
    svg.text((LEFT + RIGHT) / 2.0, HEIGHT - 8.0, across, anchor="middle")
    svg.text(LEFT + 6.0, TOP - 2.0, up)
    for number, (name, line) in enumerate(lines.items()):
        svg.path([at(x, y) for x, y in line], KINDS[number])
        start = RIGHT - 190.0
        svg.line(start, TOP + 14.0 * number, start + 18.0, TOP + 14.0 * number, KINDS[number])
        svg.text(start + 24.0, TOP + 4.0 + 14.0 * number, name)
    return str(svg.markup()) + "\n"
