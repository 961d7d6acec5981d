"""A coach's own lines, drawn on a picture beside the measured marks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from models.contract.annotations import AngleMark, LineMark, Mark, PointMark, TextMark
from models.words import Words
from workers.report.canvas import Layer
from workers.report.palette import OWN, RGB

Place = Callable[[npt.ArrayLike], npt.NDArray[np.floating[Any]]]


def spots_of(marks: Sequence[Mark]) -> npt.NDArray[np.float64]:
    """Return all coordinates of marks, pixels of the frame, shape (N, 2)."""
    found = [spot for mark in marks for _, spot in mark.spots()]
    return np.array(found, dtype=np.float64).reshape(-1, 2)


def draw_own(
    layer: Layer, marks: Sequence[Mark], place: Place, words: Words, *, unit: float
) -> None:
    """Draw a coach's marks.

    Parameters
    ----------
    place : callable
        Maps pixels of the frame to pixels of the layer.
    unit : float
        Width of a limb, pixels of the layer.
    """
    for mark in marks:
        colour = _colour(mark.colour)
        if isinstance(mark, PointMark):
            _point(layer, place(mark.at), colour, unit)
            _write(layer, place(mark.at), mark.text, colour, unit)
        elif isinstance(mark, LineMark):
            path = [place(spot) for spot in mark.points]
            layer.stroke(path, colour, unit * 0.8)
            if mark.arrow:
                _head(layer, path, colour, unit)
            _write(layer, path[-1], mark.text, colour, unit)
        elif isinstance(mark, AngleMark):
            _angle(layer, mark, place, colour, words, unit)
        elif isinstance(mark, TextMark):
            _write(layer, place(mark.at), mark.text, colour, unit, beside=0.0)


def _colour(given: str | None) -> RGB:
    if given is None:
        return OWN
    return int(given[1:3], 16), int(given[3:5], 16), int(given[5:7], 16)


def _point(layer: Layer, at: npt.NDArray[Any], colour: RGB, unit: float) -> None:
    turns = np.linspace(0.0, 2 * np.pi, 25)
    ring = at + 2.0 * unit * np.column_stack([np.cos(turns), np.sin(turns)])
    layer.stroke(list(ring), colour, unit * 0.7)
    layer.stroke([at, at], colour, unit * 0.8)


def _head(layer: Layer, path: Sequence[npt.NDArray[Any]], colour: RGB, unit: float) -> None:
    tip = path[-1]
    back = next((spot - tip for spot in reversed(path[:-1]) if np.any(spot != tip)), None)
    if back is None:
        return
    back = back / np.linalg.norm(back) * 4.0 * unit
    for turn in (0.45, -0.45):  # about 26 degrees to either side
        c, s = np.cos(turn), np.sin(turn)
        side = tip + np.array([c * back[0] - s * back[1], s * back[0] + c * back[1]])
        layer.stroke([side, tip], colour, unit * 0.8)


def _angle(
    layer: Layer, mark: AngleMark, place: Place, colour: RGB, words: Words, unit: float
) -> None:
    vertex, ends = place(mark.vertex), [place(end) for end in mark.ends]
    for end in ends:
        layer.stroke([vertex, end], colour, unit * 0.8)
    arms = [end - vertex for end in ends]
    reach = 0.4 * min(float(np.linalg.norm(arm)) for arm in arms)
    start, stop = (float(np.arctan2(arm[1], arm[0])) for arm in arms)
    turn = (stop - start + np.pi) % (2 * np.pi) - np.pi
    turns = start + np.linspace(0.0, turn, 24)
    arc = vertex + reach * np.column_stack([np.cos(turns), np.sin(turns)])
    layer.stroke(list(arc), colour, unit * 0.6)
    said = words.with_unit(words.number(mark.degrees, 0), "deg")
    text = said if mark.text is None else f"{mark.text} {said}"
    _write(layer, arc[len(arc) // 2], text, colour, unit)


def _write(
    layer: Layer,
    at: npt.NDArray[Any],
    text: str | None,
    colour: RGB,
    unit: float,
    *,
    beside: float = 2.8,
) -> None:
    """Write to the right of a spot, or to its left where there is no room."""
    if text is None:
        return
    size = max(round(4.6 * unit), 9)
    left = float(at[0]) > 0.62 * layer.width
    x = float(at[0]) + (-beside if left else beside) * unit
    anchor = "rm" if left else "lm"
    layer.text((x, at[1]), text, size, colour, bold=True, anchor=anchor, casing=0.7 * unit)
