"""The toss that leaves the picture at its top and comes back: both ends are one free flight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.contract.tracks import FloatArray, IntArray
from workers.engine.ball import NOISIEST, SCALE_SD, Things, Toss
from workers.engine.load import GRAVITY
from workers.engine.struck import ALONE_S, FALSE_SIGHTING, SCATTER, offsets

AWAY_S = (0.08, 1.4)
"""The ball is gone for so long, seconds: a toss of 3 m takes 1.6 s (working values)."""
OTHERWISE_FALLS = 0.3
"""Largest relative difference of the fall from that of the person's scale: flying towards the
camera or away from it changes it (working value)."""
AROUND_S = 0.12
"""Sightings so near to the one that is tried count for it, seconds."""
FEWEST = 3
"""Sightings that make a return; two where pictures are farther apart than `COARSE_S`."""
COARSE_S = 0.03
"""Pictures that are farther apart show few sightings of a return, seconds (working value)."""
ENDS_S, PART_S = 0.25, 0.25
"""An end is looked for among the outermost so many seconds; it is judged by so much of the flight
beside it (working values)."""
AHEAD_S, AHEAD_OFF = 0.06, 0.6
"""A toss goes on with what is seen so soon after its last sighting, seconds, and so near to where
its last part leads, in the tolerance (working values)."""
SEEN = 0.75
"""Share of the frames in which a ball in flight is seen (rendered films: 0.6 to 1)."""
DOUBTED = 0.5
"""Least likelihood ratio of a sighting near the path: a hand or racket beside it moves it (working
value)."""
BENT = 1.6
"""How far a sighting may lie off the whole toss where a part of it is fitted, in the tolerance."""
LOWEST = 0.0
"""Height over the shoulders below which no return is looked for, standing heights."""


def with_return(toss: Toss, things: Things, stature_m: float, until_s: float) -> Toss:
    """Return the toss with the sightings after it came back into the picture, if there are any.

    Parameters
    ----------
    toss : Toss
        As `find_toss` gave it.
    things : Things
    stature_m : float
    until_s : float
        The ball is struck before this, seconds.
    """
    gap = things.time_s - float(toss.seen_s[-1])
    late = (gap > AWAY_S[0]) & (gap < AWAY_S[1]) & (things.time_s <= until_s)
    late &= things.xy[:, 1] > LOWEST
    candidates = np.flatnonzero(late)
    on = _on(toss, things)
    steps = np.diff(things.looked_s)
    coarse = steps.size > 0 and float(np.median(steps)) > COARSE_S
    fewest = FEWEST - 1 if coarse else FEWEST
    best: tuple[int, Toss] | None = None
    for row in candidates:
        fitted = _fitted(toss, things, np.append(on, row), stature_m)
        if fitted is None:
            continue
        near = candidates[np.abs(things.time_s[candidates] - things.time_s[row]) < AROUND_S]
        near = near[
            np.hypot(*(things.xy[near] - fitted.at(things.time_s[near])).T) < things.tolerance
        ]
        count = len(np.unique(things.time_s[near]))
        if count >= fewest and (best is None or count > best[0]):
            best = (count, fitted)
    if best is None:
        return toss
    found = _fitted(best[1], things, _on(best[1], things, candidates, on), stature_m)
    if found is None:
        return toss
    rows = _on(found, things, candidates, on)
    seen = np.unique(things.time_s[rows])
    return replace(found, seen_s=seen, share=toss.share)


def in_flight(toss: Toss, things: Things, top: float) -> Toss:
    """Return the toss without what is seen on its path before it began and after it ended: the
    sightings at its ends are kept as long as they lie on it as those beside them do.

    Parameters
    ----------
    toss : Toss
    things : Things
    top : float
        Height of the picture's upper edge, standing heights.
    """
    last = _end(toss, things, top, 1)
    first = _end(toss, things, top, -1)
    kept = toss.seen_s[(toss.seen_s >= first) & (toss.seen_s <= last)]
    return toss if len(kept) < FEWEST else replace(toss, seen_s=kept)


def followed(toss: Toss, things: Things) -> Toss:
    """Return the toss with what is seen where its last part goes on: perspective bends the whole,
    so that its last sightings may lie beside the path of all.
    """
    while True:
        last = float(toss.seen_s[-1])
        part = near(toss, things, last - PART_S, last)
        ahead = (things.time_s > last) & (things.time_s <= last + AHEAD_S)
        off = np.hypot(*(things.xy - part.at(things.time_s)).T)
        on = things.time_s[ahead & (off < AHEAD_OFF * things.tolerance)]
        if on.size == 0:
            return toss
        toss = replace(toss, seen_s=np.append(toss.seen_s, on.min()))


def _end(toss: Toss, things: Things, top: float, way: int) -> float:
    """Return the last (``way`` 1) or first (-1) sighting that is of the flight."""
    seen = toss.seen_s[:: -1 * way]
    tries = seen[np.abs(seen - seen[0]) <= ENDS_S]
    looked = things.looked_s
    step = float(np.median(np.diff(looked))) if len(looked) > 1 else COARSE_S
    share_of = min(1.0, step / ALONE_S)
    best, worth = float(seen[0]), -np.inf
    for end in tries:
        begin = end - way * PART_S
        part = near(toss, things, min(begin, end), max(begin, end))
        here = looked[(looked - seen[0]) * way >= -ENDS_S - 1e-9]
        here = here[(here - end) * way <= 1e-9]
        here = here[part.at(here)[:, 1] < top - things.tolerance]
        off = offsets(part, things, here) / things.tolerance
        sd = float(np.clip(part.noise / things.tolerance, *SCATTER))
        was = off < 1.0
        alike = np.exp(-0.5 * (off / sd) ** 2) / (2.0 * sd**2)
        gain = np.where(
            was, np.log(np.maximum(SEEN * alike / FALSE_SIGHTING, DOUBTED)), np.log(1.0 - SEEN)
        )
        total = share_of * float(gain.sum())
        if total > worth:
            best, worth = float(end), total
    return best


def near(toss: Toss, things: Things, start_s: float, stop_s: float) -> Toss:
    """Return the toss as its sightings in a stretch of time show it: with the fall of the whole,
    place and speed of their own, since perspective bends the whole.

    Parameters
    ----------
    toss : Toss
    things : Things
    start_s, stop_s : float
        Seconds.
    """
    off = np.hypot(*(things.xy - toss.at(things.time_s)).T)
    rows = np.flatnonzero(
        (things.time_s >= start_s)
        & (things.time_s <= stop_s)
        & (off < BENT * things.tolerance)
        & np.isin(things.time_s, toss.seen_s)
    )
    rows = rows[np.lexsort((off[rows], things.time_s[rows]))]
    rows = rows[np.unique(things.time_s[rows], return_index=True)[1]]
    if len(rows) < FEWEST:
        return toss
    middle = float(np.mean(things.time_s[rows]))
    dt = things.time_s[rows] - middle
    line = np.stack([np.ones(len(rows)), dt], 1)
    bent = things.xy[rows] + np.outer(0.5 * toss.fall * dt * dt, [0.0, 1.0])
    place, speed = np.linalg.lstsq(line, bent, rcond=None)[0]
    fitted = replace(toss, t0=middle, place=place, speed=speed)
    left = things.xy[rows] - fitted.at(things.time_s[rows])
    free = max(2 * len(rows) - 4, 1)
    return replace(fitted, noise=float(np.sqrt(np.sum(left**2) / free)))


def _on(
    toss: Toss, things: Things, late: IntArray | None = None, early: IntArray | None = None
) -> IntArray:
    """Return the nearest sighting of each frame on a toss: those it was found by, and some of the
    late ones.
    """
    off = np.hypot(*(things.xy - toss.at(things.time_s)).T)
    asked = np.flatnonzero(np.isin(things.time_s, toss.seen_s)) if early is None else early
    if late is not None:
        asked = np.concatenate([asked, late])
    asked = asked[off[asked] < things.tolerance]
    best: dict[float, int] = {}
    for row in asked:
        known = best.get(float(things.time_s[row]))
        if known is None or off[row] < off[known]:
            best[float(things.time_s[row])] = int(row)
    return np.array(sorted(best.values(), key=lambda row: things.time_s[row]), np.int64)


def _fitted(toss: Toss, things: Things, rows: IntArray, stature_m: float) -> Toss | None:
    """Return the free flight through some sightings, if it is one."""
    if len(rows) < 4:
        return None
    dt = things.time_s[rows] - toss.t0
    line = np.stack([np.ones(len(rows)), dt], 1)
    expected = GRAVITY / stature_m
    weight = 0.3 * things.tolerance / (SCALE_SD * expected)
    x = np.linalg.lstsq(line, things.xy[rows, 0], rcond=None)[0]
    curve = np.vstack([np.column_stack([line, -0.5 * dt * dt]), [0.0, 0.0, weight]])
    y = np.linalg.lstsq(curve, np.append(things.xy[rows, 1], weight * expected), rcond=None)[0]
    fitted = replace(
        toss, place=np.array([x[0], y[0]]), speed=np.array([x[1], y[1]]), fall=float(y[2])
    )
    off: FloatArray = things.xy[rows] - fitted.at(things.time_s[rows])
    noise = float(np.sqrt(np.mean(np.sum(off**2, axis=1)) / 2.0))
    if noise > 1.3 * NOISIEST * things.tolerance:
        return None
    if abs(fitted.fall / expected - 1.0) > OTHERWISE_FALLS:
        return None
    return replace(fitted, noise=noise)
