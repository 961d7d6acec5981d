"""The marks of one figure, drawn on a layer: limbs, lines, knees, balance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from models.contract.analysis import Metric
from models.words import Words
from workers.report.canvas import Layer, Style
from workers.report.figure import SEGMENTS, Figure
from workers.report.palette import BALANCE, FEET, HIPS, KNEES, LIMBS, OWN, RGB, SHOULDERS

Place = Callable[[npt.ArrayLike], npt.NDArray[np.floating[Any]]]

LINE: Mapping[str, tuple[RGB, Style]] = {
    "shoulders": (SHOULDERS, "solid"),
    "hips": (HIPS, "dashed"),
    "knees": (KNEES, "solid"),
    "balance": (BALANCE, "dotted"),
    "goal": (LIMBS, "solid"),
    "own": (OWN, "solid"),
}
"""Colour and line style of each mark; the legend shows both."""


def marks_of(figure: Figure) -> list[str]:
    """Return which marks a figure has, in the order of the legend."""
    present = {
        "shoulders": figure.pair("shoulder") is not None,
        "hips": figure.pair("hip") is not None,
        "knees": figure.pair("knee") is not None,
        "balance": figure.balance is not None,
    }
    return [mark for mark, seen in present.items() if seen]


def swatch(layer: Layer, mark: str, at: tuple[float, float], size: float) -> None:
    """Draw the sample of a mark, beginning at a point; ``size`` is the height of the text."""
    colour, style = LINE[mark]
    x, y = at
    layer.stroke([(x + 4, y), (x + size * 1.8, y)], colour, size * 0.26, style=style)


def draw(
    layer: Layer,
    figure: Figure,
    place: Place,
    words: Words,
    *,
    unit: float,
    share: Metric | None = None,
    goal: float | None = None,
    labels: bool = True,
) -> None:
    """Draw all marks of a figure.

    Parameters
    ----------
    place : callable
        Maps pixels of the frame to pixels of the layer.
    unit : float
        Width of a limb, pixels of the layer; everything else follows from it.
    share : Metric or None
        The rear foot's share of the weight at this event, for the numbers at the feet and the mark
        on the line between them.
    goal : float or None
        Share from which the rules call the weight over the rear foot.
    labels : bool
        Write names at the knees and feet.
    """
    _limbs(layer, figure, place, unit)
    _knees(layer, figure, place, words, unit, labels)
    _across(layer, figure, place, "hip", "hips", unit)
    _across(layer, figure, place, "shoulder", "shoulders", unit)
    _balance(layer, figure, place, words, unit, share, goal, labels)


def _limbs(layer: Layer, figure: Figure, place: Place, unit: float) -> None:
    for side in ("left", "right"):
        for a, b in SEGMENTS:
            first, second = f"{side}_{a}", f"{side}_{b}"
            if first not in figure.points or second not in figure.points:
                continue
            unsure = first in figure.unsure or second in figure.unsure
            ends = [place(figure.points[first]), place(figure.points[second])]
            layer.stroke(
                ends,
                LIMBS,
                unit * (0.55 if unsure else 0.75),
                style="dotted" if unsure else "solid",
            )
    shoulders, nose = figure.pair("shoulder"), figure.points.get("nose")
    if shoulders is not None and nose is not None:
        layer.stroke([place((shoulders[0] + shoulders[1]) / 2), place(nose)], LIMBS, unit * 0.75)


def _across(layer: Layer, figure: Figure, place: Place, joint: str, mark: str, unit: float) -> None:
    """Draw a line across the body, run out a little past both joints, with end ticks."""
    pair = figure.pair(joint)
    if pair is None:
        return
    left, right = place(pair[0]), place(pair[1])
    along = right - left
    length = float(np.linalg.norm(along))
    if length == 0:
        return
    colour, style = LINE[mark]
    out = along / length * 2.2 * unit
    ends = [left - out, right + out]
    layer.stroke(ends, colour, unit * 1.15, style=style)
    across = np.array([-along[1], along[0]]) / length * 1.9 * unit
    for end in ends:
        layer.stroke([end - across, end + across], colour, unit * 0.9)


def _knees(
    layer: Layer, figure: Figure, place: Place, words: Words, unit: float, labels: bool
) -> None:
    """Draw, at each knee, the arc from the straight leg to the shank: the flexion angle."""
    colour, _ = LINE["knees"]
    knees = figure.pair("knee")
    left_first = knees is None or place(knees[0])[0] <= place(knees[1])[0]
    for side in ("left", "right"):
        joints = [figure.points.get(f"{side}_{name}") for name in ("hip", "knee", "ankle")]
        hip, knee, ankle = joints
        if hip is None or knee is None or ankle is None:
            continue
        hip, knee, ankle = place(hip), place(knee), place(ankle)
        straight, shank = knee - hip, ankle - knee
        reach = 0.5 * min(float(np.linalg.norm(straight)), float(np.linalg.norm(shank)))
        if reach == 0:
            continue
        start = float(np.arctan2(straight[1], straight[0]))
        turn = float(np.arctan2(shank[1], shank[0])) - start
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        angles = start + np.linspace(0.0, turn, 24)
        arc = knee + reach * np.column_stack([np.cos(angles), np.sin(angles)])
        layer.stroke([knee, arc[0]], colour, unit * 0.55, style="dashed")
        layer.stroke(list(arc), colour, unit * 0.9)
        if labels:
            name = {figure.rear: "rear", figure.front: "front"}.get(side, side)
            # Names stand on the outer side, so that two close knees do not write over each other.
            to_right = (side == "right") == left_first
            at = knee + np.array([3.0 * unit if to_right else -3.0 * unit, -1.0 * unit])
            layer.text(
                at,
                words(f"picture.{name}_knee"),
                round(4.6 * unit),
                colour,
                bold=True,
                anchor="lm" if to_right else "rm",
                casing=0.7 * unit,
            )


def _balance(
    layer: Layer,
    figure: Figure,
    place: Place,
    words: Words,
    unit: float,
    share: Metric | None,
    goal: float | None,
    labels: bool,
) -> None:
    """Draw the plumb line, the line between the feet, and the split of the weight on it."""
    balance = figure.balance
    if balance is None:
        return
    colour, style = LINE["balance"]
    com, floor = place(balance.centre_of_mass), place(balance.floor)
    rear, front = place(balance.rear), place(balance.front)
    measured = None if share is None else share.value
    # The mark stands where the number says, which is calibrated; the body drawn is one of several.
    foot = place(balance.foot if measured is None else balance.at(measured))
    layer.stroke([rear, front], FEET, unit * 0.9)
    down = np.array([0.0, 2.2 * unit])
    for end in (rear, front):
        layer.stroke([end - down, end + down], FEET, unit * 0.9)
    if share is not None and share.low is not None and share.high is not None:
        # The 95 % interval of the share, as a stretch of the line between the feet.
        low, high = (place(balance.at(s)) for s in (share.low, share.high))
        layer.stroke([low, high], FEET, unit * 2.6, casing=0.3)
    layer.stroke([com, floor], colour, unit * 1.1, style=style)
    layer.stroke([floor, foot], colour, unit * 0.7, style=style)
    layer.stroke([foot - 1.7 * down, foot + 1.7 * down], colour, unit * 1.1)
    for arm in (np.array([2.4 * unit, 0.0]), np.array([0.0, 2.4 * unit])):
        layer.stroke([com - arm, com + arm], colour, unit)
    if goal is not None:
        _goal(layer, place(balance.at(goal)), unit)
    if not labels:
        return
    sign = 1.0 if front[0] >= rear[0] else -1.0
    for end, name, part, out in (
        (rear, "rear", None if share is None else share.value, -sign),
        (front, "front", None if share is None or share.value is None else 1 - share.value, sign),
    ):
        text = words(f"picture.{name}")
        if part is not None and share is not None:
            text += f" {words.value(part, share)}"
        at = end + np.array([out * 2.2 * unit, 5.6 * unit])
        layer.text(
            at,
            text,
            round(5.4 * unit),
            FEET,
            bold=True,
            anchor="lm" if out > 0 else "rm",
            casing=0.8 * unit,
        )


def _goal(layer: Layer, at: npt.NDArray[np.floating[Any]], unit: float) -> None:
    """Draw an arrow head that stands on the line between the feet, where the weight should fall."""
    colour, _ = LINE["goal"]
    tip = at - np.array([0.0, 1.2 * unit])
    left, right = (tip + np.array([side * 2.4 * unit, -4.2 * unit]) for side in (-1.0, 1.0))
    layer.stroke([tip, left, right, tip], colour, unit * 0.9)
