"""The struck ball among the small moving things of a film: a fast, straight chain of sightings.

It starts where and when the ball was struck, goes toward the target, and its streaks lie along it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.sightings import Sightings
from models.contract.tracks import BoolArray, FloatArray, IntArray
from workers.engine.ball import distinct

FOLLOWED_S = 0.16
"""The ball is looked for so long after contact, seconds: four to nine metres. Later, how it is
slowed tells more than how fast it was."""
SLOWEST, FASTEST = 12.0, 80.0
"""m/s: a child's second serve, and over the fastest serves on record (about 73, from memory)."""
STEEPEST = 0.5
"""Largest climb or fall of the path as the camera sees it, per metre ahead: serves leave at 10
degrees down to 8 up; seen from a quarter a path across the court looks steeper (working value)."""
NEAR_RACKET_M = 0.45
"""How near the way back comes to where the racket must have been, metres (working value)."""
SURE_S = 0.03
"""Least reach of the time of contact that is allowed for, seconds, beside three of its standard
deviations (working value)."""
STEP_SHARE, STEP_M = 0.12, 0.08
"""How far the next sighting may lie from where it is expected: share of the step, and metres
(working values)."""
EDGE_PX = 3.0
"""A streak so near to the picture's edge is taken as cut off."""
ALONG = 0.9
"""Least cosine between a streak that is one and the way of the ball (working value)."""
AWAY_M = 1.4
"""The last sighting is at least so far from where the ball was struck, metres: arm and racket, of
which pieces are seen as well, reach no farther (working value)."""
LEAST = 3
"""Fewest sightings: among pieces of arm and racket two fit a line by chance (2 of 15 serves of the
tuning set)."""
MISSED = 1.5
"""What a frame without a sighting costs, sightings: else the tossed ball is taken in as the first
(working value)."""
ALIKE = 1.8
"""Streaks of one flight differ in length by less than this factor (working value)."""


@dataclass(frozen=True, slots=True)
class Moving:
    """Things after contact, as if in the upright plane of a ball struck straight at the target.

    Attributes
    ----------
    time_s : ndarray, shape (N,)
    xy : ndarray, shape (N, 2)
        Pixels (of the mirrored picture for left-handers).
    place : ndarray, shape (N, 2)
        Metres ahead of and over where the ball was struck.
    streak : ndarray, shape (N, 2)
        Half of the streak, metres in the same plane.
    whole : ndarray of bool, shape (N,)
        Not cut off by the picture's edge, and about as wide as a ball.
    steps_s : ndarray
        Times of all frames that show something new.
    """

    time_s: FloatArray
    xy: FloatArray
    place: FloatArray
    streak: FloatArray
    whole: BoolArray
    steps_s: FloatArray


@dataclass(frozen=True, slots=True)
class Picked:
    """Pixels of small things in a stretch of time."""

    time_s: FloatArray
    xy: FloatArray
    half: FloatArray
    width: FloatArray
    steps_s: FloatArray


def picked(sightings: Sightings, start_s: float, stop_s: float) -> Picked:
    """Return the things between two times."""
    times = dict(zip(sightings.looked.tolist(), sightings.looked_s.tolist(), strict=True))
    when = np.array([times.get(int(i), np.nan) for i in sightings.thing_frame])
    with np.errstate(invalid="ignore"):
        kept = (when >= start_s) & (when <= stop_s)
    return Picked(
        when[kept],
        sightings.thing_xy[kept],
        sightings.thing_half[kept],
        sightings.thing_width[kept],
        distinct(sightings, start_s, stop_s),
    )


def chain(moving: Moving, contact_s: float, contact_sd_s: float) -> IntArray:
    """Return the rows of the struck ball's sightings in order of time; empty if it is not seen.

    The way back from them leads to the racket at the time of contact; the more there are, the
    better.
    """
    reach = max(SURE_S, 3.0 * contact_sd_s)
    usable = np.flatnonzero(moving.whole & (moving.time_s > contact_s - reach))
    number = np.searchsorted(moving.steps_s, moving.time_s)
    best: tuple[float, list[int]] = (0.0, [])
    for i in usable:
        for j in usable[(number[usable] > number[i]) & (number[usable] <= number[i] + 2)]:
            rows = _follow(moving, usable, number, int(i), int(j))
            if len(rows) < LEAST:
                continue
            cost = _from_racket(moving, rows, contact_s, reach)
            if cost is None:
                continue
            missed = int(number[rows[-1]] - number[rows[0]]) + 1 - len(rows)
            worth = len(rows) - cost - MISSED * missed
            if worth > best[0]:
                best = (worth, rows)
    return np.array(best[1], np.int64)


def _from_racket(moving: Moving, rows: list[int], contact_s: float, reach_s: float) -> float | None:
    """Return how badly the way back meets the racket, 0 to 1; None if it does not."""
    first, last = rows[0], rows[-1]
    velocity = (moving.place[last] - moving.place[first]) / (
        moving.time_s[last] - moving.time_s[first]
    )
    speed = float(np.hypot(*velocity))
    if not SLOWEST * 0.5 < speed < FASTEST * 1.3 or velocity[0] <= 0.0:
        return None
    if abs(velocity[1]) > STEEPEST * velocity[0]:
        return None
    if float(np.hypot(*moving.place[last])) < AWAY_M:
        return None
    if not all(_along(moving.streak[row], velocity) for row in rows):
        return None
    lengths = np.hypot(*moving.streak[rows].T)
    if lengths.max() > ALIKE * lengths.min() + STEP_M / 2.0:
        return None
    back = float(moving.place[first] @ velocity) / speed**2
    met = float(moving.time_s[first]) - back
    aside = float(abs(np.cross(velocity, moving.place[first]))) / speed
    early = abs(met - contact_s) / (reach_s + NEAR_RACKET_M / speed)
    if aside > NEAR_RACKET_M or early > 1.0 or back < 0.0:
        return None
    return 0.5 * (aside / NEAR_RACKET_M + early)


def _along(streak: FloatArray, velocity: FloatArray) -> bool:
    """Return whether a streak, where it is one, lies along the way of the ball."""
    length = float(np.hypot(*streak))
    if length < STEP_M:
        return True
    return abs(float(streak @ velocity)) >= ALONG * length * float(np.hypot(*velocity))


def _follow(moving: Moving, usable: IntArray, number: IntArray, i: int, j: int) -> list[int]:
    """Return a pair and what follows it, one sighting a frame, until none is where it should be."""
    rows = [i, j]
    misses = 0
    for frame in range(int(number[j]) + 1, len(moving.steps_s)):
        here = usable[number[usable] == frame]
        last, before = rows[-1], rows[-2]
        velocity = (moving.place[last] - moving.place[before]) / (
            moving.time_s[last] - moving.time_s[before]
        )
        expected = moving.place[last] + velocity * (moving.steps_s[frame] - moving.time_s[last])
        step = float(np.hypot(*(expected - moving.place[last])))
        off = np.hypot(*(moving.place[here] - expected).T)
        if here.size and off.min() <= STEP_SHARE * step + STEP_M:
            rows.append(int(here[np.argmin(off)]))
            misses = 0
        else:
            misses += 1
        if misses > 1:
            break
    return rows
