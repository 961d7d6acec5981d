"""Paths of the joints of two repetitions, seen from the side, as inline SVG."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.plot import Svg

SHOWN: tuple[str, ...] = ("hitting_wrist", "tossing_wrist", "rear_hip", "front_knee")
"""Hitting and tossing wrist, rear hip, front knee: what a coach watches from the side."""

WIDTH = 340.0
"""Width of the plot, pixels."""
EDGE = 14.0
"""Room around the paths, pixels."""


def trajectory_plot(
    first: FloatArray,
    second: FloatArray,
    *,
    first_label: str,
    second_label: str,
    joints: Sequence[str] = SHOWN,
    events: Sequence[tuple[EventName, int]] = (),
    words: Words | None = None,
) -> Markup:
    """Return the paths of some joints in the plane of the target line and the vertical.

    Parameters
    ----------
    first, second : ndarray, shape (N, 21, 3)
        Joint centres at equal phases, court frame, right-hander, in body heights. NaN breaks a
        path.
    events : sequence of (EventName, int)
        Row of each event to mark.

    Raises
    ------
    ValueError
        When the two have different shapes or hold no finite point.
    """
    words = words or english()
    if first.shape != second.shape or first.shape[1:] != (len(CANONICAL_BODY), 3):
        raise ValueError(f"paths have shapes {first.shape} and {second.shape}, expected (N, 21, 3)")
    columns = CANONICAL_BODY.rows(joints)
    sides = [array[:, columns][..., [0, 2]] for array in (first, second)]
    every = np.concatenate([side.reshape(-1, 2) for side in sides])
    every = every[np.isfinite(every).all(axis=1)]
    if len(every) == 0:
        raise ValueError("there is no finite point to draw")
    low, high = every.min(axis=0), every.max(axis=0)
    # One scale for both axes: a path must keep its shape.
    scale = min(
        (WIDTH - 2 * EDGE) / max(high[0] - low[0], 1e-6), 460.0 / max(high[1] - low[1], 1e-6)
    )
    height = (high[1] - low[1]) * scale + 2 * EDGE + 58
    left = (WIDTH - (high[0] - low[0]) * scale) / 2

    def at(point: FloatArray) -> tuple[float, float]:
        return (
            float(left + (point[0] - low[0]) * scale),
            float(EDGE + (high[1] - point[1]) * scale),
        )

    names = [words(f"joint.{name}") for name in joints]
    svg = Svg(
        WIDTH,
        height,
        words(
            "comparison.path_alt",
            joints=", ".join(names),
            first=first_label,
            second=second_label,
        ),
    )
    for side, kind in zip(sides, ("first", "second"), strict=True):
        for j in range(len(joints)):
            svg.path([at(point) for point in side[:, j]], kind)
            for number, (_, row) in enumerate(events, start=1):
                if np.isfinite(side[row, j]).all():
                    x, y = at(side[row, j])
                    svg.add("circle", cx=x, cy=y, r=3.0, kind=f"{kind}-mark")
                    if kind == "first" and joints[j] == joints[0]:
                        svg.text(x + 5, y - 5, str(number), kind="strong")
    for j, name in enumerate(names):
        path = np.array([at(point) for point in sides[0][:, j]])
        others = [at(p) for side in sides for i in range(len(joints)) if i != j for p in side[:, i]]
        rest = np.array(others).reshape(-1, 2)
        x, y = _free_place(path, rest)
        anchor = "start" if x < WIDTH * 0.6 else "end"
        svg.text(x + (7 if anchor == "start" else -7), y + 14, name, anchor=anchor)
    bottom = height - 12
    svg.line(EDGE, bottom - 18, EDGE + scale / 2, bottom - 18, "interval")
    svg.text(EDGE, bottom, words("comparison.path_scale"))
    return svg.markup()


def event_key(events: Sequence[tuple[EventName, int]], words: Words) -> str:
    """Return what the numbers in the plot stand for."""
    return ", ".join(
        words("comparison.path_event", number=number, event=words.inside(words.event(event)))
        for number, (event, _) in enumerate(events, start=1)
    )


def _free_place(path: FloatArray, rest: FloatArray) -> tuple[float, float]:
    """Return the point of a path that lies farthest from all other paths, for its name."""
    path = path[np.isfinite(path).all(axis=1)]
    rest = rest[np.isfinite(rest).all(axis=1)]
    if len(path) == 0:
        return EDGE, EDGE
    if len(rest) == 0:
        return float(path[0, 0]), float(path[0, 1])
    apart = np.linalg.norm(path[:, None] - rest[None], axis=2).min(axis=1)
    x, y = path[int(np.argmax(apart))]
    return float(x), float(y)
