"""The picture of an accuracy document: one panel a camera position, one row a metric.

Errors are drawn in units of the aim, so that degrees, shares and metres share one scale.
"""

from __future__ import annotations

from models.contract.accuracy import Accuracy, MetricAccuracy
from models.contract.vocabulary import View
from workers.report.accuracy_aims import aim, aimed, amount, label, rows_by_place
from workers.report.palette import DARK, LIGHT, PageColours
from workers.report.plot import Svg

LEFT, TOP, ROW, BOTTOM = 320.0, 74.0, 27.0, 78.0
"""Room for the names, the head, one metric and the foot, pixels."""
PLOT, NUMBER, GAP = 104.0, 84.0, 14.0
"""Widths of a panel's plot and of its numbers, and the room between panels, pixels."""
LEGEND = 920.0
"""Width the legend needs, however few the panels."""
REACH = 2.5
"""Aims from the middle to the edge of a panel."""


def accuracy_picture(document: Accuracy) -> str:
    """Return the picture as an SVG file, in the reader's light or dark scheme."""
    views, names = document.views_seen(), aimed(document)
    width = max(LEGEND, LEFT + len(views) * (PLOT + NUMBER + GAP) + GAP)
    height = TOP + len(names) * ROW + BOTTOM
    svg = Svg(width, height, _spoken(document), standalone=True)
    svg.add("style", _rules(LIGHT) + "@media (prefers-color-scheme:dark){" + _rules(DARK) + "}")
    svg.add("rect", x=0.0, y=0.0, width=width, height=height, kind="paper")
    svg.text(16.0, 28.0, "Bias and mean absolute error, in units of the aim", kind="title")
    places = rows_by_place(document)
    for i, name in enumerate(names):
        y = TOP + i * ROW
        svg.line(16.0, y, width - 16.0, y, "rule")
        first = next(row for row in document.metrics if row.name == name)
        svg.text(16.0, y + ROW / 2 + 4.5, label(first))
    serves = {row.view: row.serves for row in document.views}
    for i, view in enumerate(views):
        x = LEFT + i * (PLOT + NUMBER + GAP)
        svg.text(x, TOP - 24.0, view.value.replace("_", " "), kind="head")
        svg.text(x, TOP - 9.0, _serves(serves.get(view.value, 0)), kind="small")
        _panel(svg, x, view, [places.get((name, view.value)) for name in names])
    _legend(svg, height)
    return str(svg.markup()) + "\n"


def _panel(svg: Svg, x: float, view: View, rows: list[MetricAccuracy | None]) -> None:
    middle, unit = x + PLOT / 2, PLOT / 2 / REACH
    bottom = TOP + len(rows) * ROW
    svg.add("rect", x=middle - unit, y=TOP, width=2 * unit, height=bottom - TOP, kind="band")
    svg.line(middle, TOP, middle, bottom + 5.0, "axis")
    svg.text(middle, bottom + 18.0, "± aim", anchor="middle", kind="small")
    for i, row in enumerate(rows):
        y = TOP + (i + 0.5) * ROW
        limit = None if row is None else aim(row.key, view)
        if row is None or limit is None or row.mae is None or row.bias is None:
            svg.text(middle, y + 4.0, "not reported", anchor="middle", kind="none")
            continue
        half = min(row.mae / limit, REACH) * unit
        kind = "within" if row.mae <= limit else "over"
        svg.add("rect", x=middle - half, y=y - 6.0, width=2 * half, height=12.0, rx=2.0, kind=kind)
        if row.mae > REACH * limit:
            for side in (-1.0, 1.0):
                tip, foot = middle + side * (half + 6.0), middle + side * half
                svg.add("path", d=f"M{foot} {y - 6} L{tip} {y} L{foot} {y + 6} Z", kind=kind)
        at = middle + max(-REACH, min(REACH, row.bias / limit)) * unit
        svg.add("circle", cx=at, cy=y, r=3.6, kind="bias")
        svg.text(x + PLOT + 8.0, y + 4.5, amount(row, row.mae), kind="number")


def _legend(svg: Svg, height: float) -> None:
    y = height - 26.0
    x = 16.0
    svg.add("rect", x=x, y=y - 10.0, width=34.0, height=12.0, rx=2.0, kind="within")
    svg.add("rect", x=x + 40.0, y=y - 10.0, width=34.0, height=12.0, rx=2.0, kind="over")
    svg.text(x + 82.0, y, "mean absolute error, to both sides (within the aim / over it)")
    svg.add("circle", cx=x + 506.0, cy=y - 4.0, r=3.6, kind="bias")
    svg.text(x + 516.0, y, "bias")
    svg.add("rect", x=x + 566.0, y=y - 11.0, width=26.0, height=14.0, kind="band")
    svg.text(x + 600.0, y, "the aim (from the side; elsewhere 1.5 times)")


def _serves(count: int) -> str:
    return f"{count} serve" + ("" if count == 1 else "s")


def _rules(c: PageColours) -> str:
    return (
        f".paper{{fill:{c.panel}}}.band{{fill:{c.accent_soft}}}"
        f".rule{{stroke:{c.rule};stroke-width:1}}.axis{{stroke:{c.muted};stroke-width:1}}"
        f".within{{fill:{c.first}}}.over{{fill:{c.second}}}"
        f".bias{{fill:{c.panel};stroke:{c.ink};stroke-width:1.6}}"
        "text{font-family:system-ui,'Segoe UI',Helvetica,Arial,sans-serif;font-size:13px;"
        f"fill:{c.ink}}}"
        ".title{font-size:16px;font-weight:600}.head{font-weight:600}"
        f".small,.none{{font-size:11px;fill:{c.muted}}}"
        ".number{font-variant-numeric:tabular-nums}"
    )


def _spoken(document: Accuracy) -> str:
    parts = []
    for view in document.views_seen():
        rows = [row for row in document.metrics if row.view == view.value and row.mae is not None]
        held = [row for row in rows if aim(row.key, view) is not None]
        kept = sum(row.mae is not None and row.mae <= (aim(row.key, view) or 0) for row in held)
        parts.append(f"{view.value.replace('_', ' ')}: {kept} of {len(held)} within the aim")
    return "Bias and mean absolute error per metric and camera position. " + "; ".join(parts)
