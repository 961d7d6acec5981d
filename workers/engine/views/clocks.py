"""The offset between the clocks of two films of one serve, coarsely.

From wherever a level camera stands, the heights of a body's joints over its mid-hip look the same
(a share of its standing height); how far aside they are does not. The offset is where the heights
agree best. It is refined with the cameras' places (`relative`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workers.engine.views.seen import SeenBody, between

STEP_S = 1.0 / 120.0
"""Step of the search, seconds: finer than a frame of most films."""
FURTHEST_S = 3.5
"""Largest offset that is looked for, seconds: half a second more than the 3 s that are promised."""
SHORTEST_S = 0.8
"""Least time that both films must hold, seconds: drive to follow-through (working value)."""


@dataclass(frozen=True, slots=True)
class CoarseOffset:
    """Where the heights of two views agree.

    Attributes
    ----------
    offset_s : float
        What to add to a time of the first film for the same instant of the second, seconds.
    misfit : float
        Root mean square difference of the heights there, standing heights.
    moved : float
        Root mean square change of the heights in time over the common stretch, standing heights.
    """

    offset_s: float
    misfit: float
    moved: float


def coarse_offsets(one: SeenBody, two: SeenBody, count: int = 3) -> list[CoarseOffset]:
    """Return the best offsets of different dips of the misfit, the best first.

    An empty list: no offset leaves `SHORTEST_S` of both films in which the body moves.
    """
    grid_one = np.arange(one.time_s[0], one.time_s[-1], STEP_S)
    grid_two = np.arange(two.time_s[0], two.time_s[-1], STEP_S)
    known = np.isfinite(one.uv[0, :, 1]) & np.isfinite(two.uv[0, :, 1])
    high = between(one.time_s, one.upright[:, known], grid_one)
    other = between(two.time_s, two.upright[:, known], grid_two)
    start = two.time_s[0] - one.time_s[0]
    least = int(SHORTEST_S / STEP_S)
    found: list[CoarseOffset] = []
    # Weighted by what moves: a long stance that agrees says little.
    for shift in range(-len(grid_one) + least, len(grid_two) - least + 1):
        offset = start + shift * STEP_S
        if abs(offset) > FURTHEST_S:
            continue
        first, second = max(0, -shift), max(0, shift)
        length = min(len(high) - first, len(other) - second)
        if length < least:
            continue
        a, b = high[first : first + length], other[second : second + length]
        moved = float(np.sqrt(np.mean(np.var(a, axis=0))))
        apart = a - b
        off = float(np.sqrt(np.mean((apart - np.median(apart, axis=0)) ** 2)))
        found.append(CoarseOffset(offset, off, moved))
    dips: list[CoarseOffset] = []
    for one_dip in sorted(found, key=lambda c: c.misfit / max(c.moved, 1e-6)):
        if all(abs(one_dip.offset_s - kept.offset_s) > 0.1 for kept in dips):
            dips.append(one_dip)
        if len(dips) == count:
            break
    return dips
