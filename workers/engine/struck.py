"""When the ball was struck, as the pictures of it tell: the end of the toss, and the way it left.

Everything is said as a logarithm of likelihood over a grid of instants, up to a constant, so that
other evidence can be added.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.ball import Things, Toss

FALSE_SIGHTING = 0.08
"""Share of instants after contact at which something else lies where the toss would go on (racket,
arm; working value)."""
HIDDEN = 0.5
"""Share of sightings lost just before contact, where the racket's own streak takes the ball in."""
NEAR_RACKET_S = 0.025
"""How long before contact that is, seconds, or one frame (working value)."""
LEAVES_WITHIN_S = 0.16
"""The struck ball is looked for so long after the last sighting of the toss, seconds."""
FASTER = 1.6
"""Least change of velocity at contact, standing heights per second: seen from behind a serve
changes it by 3 and more (one real film)."""
MANY = 8
"""Sightings of a toss from which the last one may be something else."""
MEETS = 0.035
"""How near the way out must come to the toss, standing heights: a ball's width (working value)."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """The struck ball's first sightings: when its path meets the toss, with standard deviation."""

    met_s: float
    sd_s: float
    first_s: float
    seen: int


def end_of_toss(toss: Toss, things: Things, grid: FloatArray, inside_v: float) -> FloatArray:
    """Return the log-likelihood of contact at each instant from where the toss was seen.

    Parameters
    ----------
    toss : Toss
    things : Things
    grid : ndarray, shape (G,)
    inside_v : float
        Height of the picture's upper edge, standing heights: a ball over it is not missed.
    """
    looked = things.looked_s
    place = toss.at(looked)
    asked = (looked > toss.seen_s[0]) & (place[:, 1] < inside_v - things.tolerance)
    asked &= looked <= toss.seen_s[-1] + 0.5
    seen = np.isin(looked, toss.seen_s)
    early = asked & (looked < toss.seen_s[-1] - 2.0 * NEAR_RACKET_S)
    share = float(np.clip(np.mean(seen[early]) if early.any() else 0.7, 0.4, 0.97))
    step = float(np.median(np.diff(looked))) if len(looked) > 1 else NEAR_RACKET_S
    near = max(NEAR_RACKET_S, step)
    result = np.zeros(len(grid))
    for t, was in zip(looked[asked], seen[asked], strict=True):
        before = grid > t
        q = np.where(grid - t < near, share * HIDDEN, share)
        flying = q if was else 1.0 - q
        gone = FALSE_SIGHTING if was else 1.0 - FALSE_SIGHTING
        result += np.log(np.where(before, flying, gone))
    return result


def way_out(toss: Toss, things: Things, not_before_s: float, not_after_s: float) -> WayOut | None:
    """Return the straight, fast path that begins on the toss, or None.

    Parameters
    ----------
    toss : Toss
    things : Things
    not_before_s, not_after_s : float
        Contact is looked for between these, seconds.
    """
    looked = things.looked_s
    best: tuple[float, WayOut] | None = None
    rows = (things.time_s > not_before_s) & (things.time_s < not_after_s + LEAVES_WITHIN_S)
    rows &= np.hypot(*(things.xy - toss.at(things.time_s)).T) > 2.0 * things.tolerance
    index = np.flatnonzero(rows)
    number = np.searchsorted(looked, things.time_s)
    for i in index:
        later = index[(number[index] > number[i]) & (number[index] <= number[i] + 2)]
        for j in later:
            found = _met(toss, things, int(i), int(j), not_before_s, not_after_s)
            if found is None:
                continue
            worth, out = found
            if best is None or worth > best[0]:
                best = (worth, out)
    return None if best is None else best[1]


def _met(
    toss: Toss, things: Things, i: int, j: int, not_before_s: float, not_after_s: float
) -> tuple[float, WayOut] | None:
    t1, t2 = float(things.time_s[i]), float(things.time_s[j])
    speed = (things.xy[j] - things.xy[i]) / (t2 - t1)
    if float(np.hypot(*(speed - toss.velocity(t1)))) < FASTER:
        return None
    back = np.linspace(0.0, t1 - not_before_s, 80)
    apart = np.hypot(*(things.xy[i] - np.outer(back, speed) - toss.at(t1 - back)).T)
    k = int(np.argmin(apart))
    met = t1 - float(back[k])
    # a ball that is still seen in its toss was not struck yet; one late sighting may be the racket
    still = float(toss.seen_s[-2 if len(toss.seen_s) > MANY else -1])
    if apart[k] > MEETS or not still <= met <= not_after_s or back[k] > 2.5 * (t2 - t1):
        return None
    if not (_along(things.half[i], speed, things) and _along(things.half[j], speed, things)):
        return None
    # how many more lie on the line, slowed by distance as much as by a fifth a frame
    step = t2 - t1
    more = 0
    at, velocity, now = things.xy[j], speed, t2
    for _ in range(4):
        ahead = (things.time_s > now) & (things.time_s < now + 1.6 * step)
        if not ahead.any():
            break
        gap = (things.time_s[ahead] - now)[:, None]
        off = np.hypot(*(at + velocity * gap * 0.93 - things.xy[ahead]).T)
        n = int(np.argmin(off))
        if off[n] > 0.15 * float(np.hypot(*velocity)) * float(gap[n, 0]) + 2.0 * things.tolerance:
            break
        row = np.flatnonzero(ahead)[n]
        velocity = (things.xy[row] - at) / float(gap[n, 0])
        at, now, more = things.xy[row], float(things.time_s[row]), more + 1
    change = float(np.hypot(*(speed - toss.velocity(met))))
    if more == 0 and change < 3.0 * FASTER:
        return None
    sd = float(np.hypot(0.1 * back[k] + 1e-4, (things.tolerance / 2.0 + apart[k]) / change))
    worth = (1.0 + more) * float(min(things.score[i], things.score[j])) / (1.0 + apart[k] / MEETS)
    return worth, WayOut(met, sd, t1, 2 + more)


def _along(half: FloatArray, speed: FloatArray, things: Things) -> bool:
    """Return whether a streak, where it is one, lies along the direction of flight."""
    length = float(np.hypot(*half))
    if length < 2.5 * things.tolerance:
        return True
    cosine = abs(float(half @ speed)) / (length * float(np.hypot(*speed)))
    return cosine > 0.85
