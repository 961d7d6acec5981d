"""Anti-aliased strokes and text on a picture, legible on any background.

Every stroke is drawn twice on a transparent layer of twice the size: a wide dark casing, then the
coloured core; the layer is then reduced, which smooths the edges.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from workers.report.palette import INK, RGB

Style = Literal["solid", "dashed", "dotted"]
Point = Sequence[float] | npt.NDArray[np.floating[Any]]
Picture = npt.NDArray[np.uint8]

FINENESS = 2
"""Drawn so many times larger and reduced: smooth edges."""
PATTERN: dict[Style, tuple[float, float] | None] = {
    "solid": None,
    "dashed": (2.2, 2.4),
    "dotted": (0.01, 2.6),
}
"""On and off length in units of the stroke width."""

LACKING = str.maketrans(
    {"\N{MINUS SIGN}": "\N{EN DASH}", "\N{GREATER-THAN OR EQUAL TO}": ">=",
     "\N{LESS-THAN OR EQUAL TO}": "<=", "\N{RIGHTWARDS ARROW}": "to", "\N{ALMOST EQUAL TO}": "~"}
)  # fmt: skip
"""Characters that the typeface lacks, and what is written instead."""


@cache
def font(size: int, *, bold: bool = False) -> ImageFont.FreeTypeFont:
    """Return the shipped typeface (Noto Sans, SIL Open Font License) at a size in pixels."""
    name = "NotoSans-Bold.ttf" if bold else "NotoSans-Regular.ttf"
    data = (files("workers.report") / "fonts" / name).read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size, layout_engine=ImageFont.Layout.BASIC)


def text_width(text: str, size: int, *, bold: bool = False) -> float:
    """Return the width of a line of text, pixels."""
    return float(font(size, bold=bold).getlength(text.translate(LACKING)))


def wrapped(text: str, size: int, width: float, *, bold: bool = False) -> list[str]:
    """Break a text into lines no wider than ``width`` pixels, at spaces."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size, bold=bold) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


class Layer:
    """A transparent layer over a picture of ``width`` x ``height`` pixels."""

    def __init__(self, width: int, height: int) -> None:
        self.width = width
        self.height = height
        self._image = Image.new("RGBA", (width * FINENESS, height * FINENESS), (*INK, 0))
        self._draw = ImageDraw.Draw(self._image)

    def stroke(
        self,
        points: Sequence[Point],
        colour: RGB,
        width: float,
        *,
        style: Style = "solid",
        casing: float = 0.6,
        opacity: float = 1.0,
    ) -> None:
        """Draw a path with round ends and a dark casing ``casing`` stroke widths wide."""
        path = [(float(p[0]), float(p[1])) for p in points]
        runs = [path] if PATTERN[style] is None else list(_runs(path, style, width))
        for core, tone, alpha in (
            (width * (1 + casing), INK, 0.75 * opacity),
            (width, colour, opacity),
        ):
            if core <= 0 or (tone is INK and casing <= 0):
                continue
            for run in runs:
                self._path(run, core, (*tone, round(255 * alpha)))

    def _path(
        self, run: Sequence[tuple[float, float]], width: float, fill: tuple[int, int, int, int]
    ) -> None:
        scaled = [(x * FINENESS, y * FINENESS) for x, y in run]
        thick = max(1, round(width * FINENESS))
        if len(scaled) > 1:
            self._draw.line(scaled, fill=fill, width=thick, joint="curve")
        radius = thick / 2
        for x, y in (scaled[0], scaled[-1]):
            self._draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=fill)

    def text(
        self,
        at: Point,
        text: str,
        size: int,
        colour: RGB,
        *,
        bold: bool = False,
        anchor: str = "ls",
        casing: float = 0.0,
    ) -> None:
        """Write one line; ``casing`` is the width of a dark outline in pixels."""
        self._draw.text(
            (float(at[0]) * FINENESS, float(at[1]) * FINENESS),
            text.translate(LACKING),
            font=font(size * FINENESS, bold=bold),
            fill=(*colour, 255),
            anchor=anchor,
            stroke_width=round(casing * FINENESS),
            stroke_fill=(*INK, 235) if casing else None,
        )

    def box(self, corners: tuple[float, float, float, float], colour: RGB, alpha: float) -> None:
        """Fill a rectangle: left, top, right, bottom."""
        left, top, right, bottom = (c * FINENESS for c in corners)
        self._draw.rectangle((left, top, right, bottom), fill=(*colour, round(255 * alpha)))

    def over(self, picture: Image.Image) -> Image.Image:
        """Return the picture, RGB, with this layer on top."""
        fine = self._image.reduce(FINENESS)
        shown = picture.convert("RGB")
        shown.paste(fine, (0, 0), fine)
        return shown


def _runs(
    path: Sequence[tuple[float, float]], style: Style, width: float
) -> list[list[tuple[float, float]]]:
    """Cut a path into the pieces that are drawn of a broken line."""
    pattern = PATTERN[style]
    if pattern is None:
        return [list(path)]
    on, off = (length * width for length in pattern)
    pieces: list[list[tuple[float, float]]] = []
    for (x0, y0), (x1, y1) in pairwise(path):
        length = math.hypot(x1 - x0, y1 - y0)
        if length == 0:
            continue
        # Stretch the gaps so that a piece ends exactly at the end of the line.
        count = max(1, round((length + off) / (on + off)))
        gap = (length - count * on) / (count - 1) if count > 1 else 0.0
        for i in range(count):
            a = min(i * (on + gap) / length, 1.0)
            b = min(a + on / length, 1.0)
            pieces.append(
                [
                    (x0 + a * (x1 - x0), y0 + a * (y1 - y0)),
                    (x0 + b * (x1 - x0), y0 + b * (y1 - y0)),
                ]
            )
    return pieces


def jpeg(picture: Image.Image, quality: int = 88) -> bytes:
    """Return the picture as a progressive JPEG file."""
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=quality, optimize=True, progressive=True)
    return buffer.getvalue()
