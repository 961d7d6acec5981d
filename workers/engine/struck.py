"""When the ball was struck, as the pictures of it tell: the end of the toss, and the way it left.

Everything is said as a logarithm of likelihood over a grid of instants, up to a constant, so that
other evidence can be added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from models.contract.tracks import BoolArray, FloatArray
from workers.engine.ball import Things, Toss

FALSE_SIGHTING = 0.08
"""Share of instants after contact at which something else lies where the toss would go on (racket,
arm; working value)."""
DISTURBED = 0.2
"""Share of the sightings of a flying ball that something beside it draws off its path (working
value)."""
HIDDEN = 0.5
"""Share of sightings lost just before contact, where the racket's own streak takes the ball in."""
LATELY_S = 0.22
"""How often a toss is seen is counted over its last so many seconds: higher up it is out of the
picture or before another background (working value)."""
LED_S = 0.2
"""A toss leads so far beyond its last sighting, seconds: farther on, above all where it left the
picture, that nothing is seen where it would be says nothing (working value)."""
SEEN_USUALLY = (0.75, 2.0)
"""Share of the frames in which a ball in flight is seen (rendered films: 0.6 to 1), and how many
frames that counts for."""
SCATTER = (0.15, 0.6)
"""Least and largest scatter of sightings about a toss, in the tolerance: perspective bends it."""
LED_SCATTER = 0.25
"""Least scatter of sightings about where a toss leads beyond those it was fitted to, in the
tolerance (working value)."""
ALONE_S = 1.0 / 90.0
"""Pictures so far apart tell independently whether the ball is there, seconds (working value)."""
NEAR_RACKET_S = 0.015
"""How long before contact that is, seconds, or one frame (working value)."""
LEAVES_WITHIN_S = 0.16
"""The struck ball is looked for so long after the last sighting of the toss, seconds."""
FASTER = 1.6
"""Least change of velocity at contact, standing heights per second: seen from behind a serve
changes it by 3 and more (one real film)."""
FASTEST = 40.0
"""Standing heights per second; a serve of 70 m/s."""
MANY = 8
"""Sightings of a toss from which the last one may be something else."""
MEETS = 0.06
"""How near the way out, straight on, must come to the toss, standing heights: two balls' width
(working value)."""
APART_S = (0.006, 0.042)
"""Two sightings that begin a way out are so far apart, or a frame, seconds (working values)."""
BACK_S = 0.06
"""The way out is followed back so far at most, or two and a half frames, seconds."""
NEAR_CONTACT = 1.3
"""Standing heights from the toss within which a way out begins (working value)."""
FOLLOWED, JUDGED = 8, 300
"""Ways out that are followed from one sighting, and that are judged (working values)."""
DEPTH_SD = 4.0
"""Standard deviation of the rate at which the ball's distance from the camera changes, in that
distance, per second: 40 m/s at ten metres."""
BLURRED = 0.15
"""Standard deviation of a contact told by a way out, in the interval between pictures, beside what
its sightings leave: a streak's middle is not its time (rendered films of the set that faults are
looked for on: 6 and 8 ms early at 30 a second)."""
PATH_OFF = 0.25
"""Standard deviation of the toss where it ends, in the tolerance (working value)."""
SIGHTING_SHARE = 0.4
"""Standard deviation of a sighting in the tolerance (rendered tosses scatter by 0.1 to 0.4)."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """The struck ball's first sightings.

    Attributes
    ----------
    likely : ndarray, shape (G,)
        Log-likelihood of contact at each instant of the grid.
    worth : float
        How well it is told from chance, for choosing among several.
    seen : int
        Sightings.
    """

    likely: FloatArray
    worth: float
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
    asked &= looked <= toss.seen_s[-1] + LED_S
    off = offsets(toss, things, looked)
    seen = off < things.tolerance
    early = asked & (looked < toss.seen_s[-1] - 2.0 * NEAR_RACKET_S)
    early &= looked > toss.seen_s[-1] - LATELY_S
    usual, worth = SEEN_USUALLY
    known = float(np.sum(seen[early])) + worth * usual
    share = float(np.clip(known / (np.sum(early) + worth), 0.4, 0.97))
    step = float(np.median(np.diff(looked))) if len(looked) > 1 else NEAR_RACKET_S
    near = max(NEAR_RACKET_S, step)
    # what hides the ball, or lies in its way, does so in neighbouring pictures too
    share_of = min(1.0, step / ALONE_S)
    # a ball lies on its path as the others do, something else anywhere near it
    sd = float(np.clip(toss.noise / things.tolerance, LED_SCATTER, SCATTER[1]))
    result = np.zeros(len(grid))
    for t, was, far in zip(looked[asked], seen[asked], off[asked], strict=True):
        before = grid > t
        q = np.where(grid - t < near, share * HIDDEN, share)
        alike = float(np.exp(-0.5 * (far / things.tolerance / sd) ** 2)) / (2.0 * sd**2)
        moved = (1.0 - q * (1.0 - DISTURBED)) * FALSE_SIGHTING
        flying = q * (1.0 - DISTURBED) * alike + moved if was else 1.0 - q
        gone = FALSE_SIGHTING if was else 1.0 - FALSE_SIGHTING
        result += share_of * np.log(np.where(before, flying, gone))
    return result


def offsets(toss: Toss, things: Things, looked: FloatArray) -> FloatArray:
    """Return how far the nearest thing of each picture is off the toss."""
    off = np.hypot(*(things.xy - toss.at(things.time_s)).T)
    nearest = np.full(len(looked), np.inf)
    number = np.searchsorted(looked, things.time_s)
    known = number < len(looked)
    np.minimum.at(nearest, number[known], off[known])
    return nearest


def way_out(toss: Toss, things: Things, grid: FloatArray) -> WayOut | None:
    """Return the straight, fast path that begins on the toss, or None.

    A straight flight is a straight line in the picture, along which a ball that flies away from
    the camera seems to slow down: ``s = a τ / (1 + b τ)`` from the place of contact.

    Parameters
    ----------
    toss : Toss
    things : Things
    grid : ndarray, shape (G,)
        Instants at which contact may be, seconds.
    """
    begin, end = float(grid[0]), float(grid[-1])
    about = _about(toss, things, begin, end)
    chains: dict[tuple[int, ...], float] = {}
    for i in range(len(about.time_s)):
        for apart, chain in _ways(toss, about, i, begin):
            chains.setdefault(tuple(chain), apart)
    # the longest, then those that meet the toss best
    first = sorted(chains, key=lambda chain: (-len(chain), chains[chain]))[:JUDGED]
    found = [_judged(toss, about, list(chain), grid) for chain in first]
    return max((one for one in found if one is not None), key=lambda out: out.worth, default=None)


def _about(toss: Toss, things: Things, begin: float, end: float) -> Things:
    """Return the things off the toss, about the time and place of contact, in order of time."""
    rows = (things.time_s > begin) & (things.time_s < end + LEAVES_WITHIN_S)
    rows &= np.hypot(*(things.xy - toss.at(things.time_s)).T) > 2.0 * things.tolerance
    rows &= np.hypot(*(things.xy - toss.at((begin + end) / 2.0)).T) < NEAR_CONTACT
    kept = np.flatnonzero(rows)
    kept = kept[np.argsort(things.time_s[kept], kind="stable")]
    return replace(
        things,
        time_s=things.time_s[kept],
        frame=things.frame[kept],
        xy=things.xy[kept],
        half=things.half[kept],
        score=things.score[kept],
    )


def _ways(toss: Toss, things: Things, i: int, begin: float) -> list[tuple[float, list[int]]]:
    """Return the chains of sightings that begin with one and lie on a line that meets the toss,
    each with how near it comes.
    """
    looked = things.looked_s
    t1 = float(things.time_s[i])
    number = int(np.searchsorted(looked, t1))
    frame = float(looked[min(number + 1, len(looked) - 1)] - t1) or APART_S[1]
    low = np.searchsorted(things.time_s, t1 + min(APART_S[0], 0.5 * frame))
    high = np.searchsorted(things.time_s, t1 + max(APART_S[1], 1.5 * frame))
    later = np.arange(low, high)
    if later.size == 0:
        return []
    gap = things.time_s[later] - t1
    speed = (things.xy[later] - things.xy[i]) / gap[:, None]
    fast = np.hypot(*(speed - toss.velocity(t1)).T)
    good = (fast > FASTER) & (np.hypot(*speed.T) < FASTEST)
    back = np.linspace(0.0, min(max(BACK_S, 2.5 * frame), t1 - begin), 25)
    line = things.xy[i] - back[:, None, None] * speed
    apart = np.hypot(*np.moveaxis(line - toss.at(t1 - back)[:, None], -1, 0)).min(axis=0)
    good &= apart < MEETS
    chains: list[tuple[float, list[int]]] = []
    for k in np.flatnonzero(good)[np.argsort(apart[good], kind="stable")]:
        along = _along(things.half[i], speed[k], things)
        if along and _along(things.half[later[k]], speed[k], things):
            chains.append((float(apart[k]), [i, *_followed(things, i, int(later[k]))]))
        if len(chains) == FOLLOWED:
            break
    return chains


def _followed(things: Things, i: int, j: int) -> list[int]:
    """Return the second sighting of a way out and those that go on from it, slowed by distance by
    as much as a fifth a frame.
    """
    chain = [j]
    step = float(things.time_s[j] - things.time_s[i])
    velocity = (things.xy[j] - things.xy[i]) / step
    for _ in range(4):
        now, at = float(things.time_s[chain[-1]]), things.xy[chain[-1]]
        ahead = np.arange(
            np.searchsorted(things.time_s, now + 0.4 * step, side="right"),
            np.searchsorted(things.time_s, now + 1.6 * step),
        )
        if ahead.size == 0:
            break
        gap = (things.time_s[ahead] - now)[:, None]
        off = np.hypot(*(at + velocity * gap * 0.93 - things.xy[ahead]).T)
        n = int(np.argmin(off))
        if off[n] > 0.15 * float(np.hypot(*velocity)) * float(gap[n, 0]) + 2.0 * things.tolerance:
            break
        velocity = (things.xy[ahead[n]] - at) / float(gap[n, 0])
        chain.append(int(ahead[n]))
    return chain


def _judged(toss: Toss, things: Things, chain: list[int], grid: FloatArray) -> WayOut | None:
    """Return how likely contact was at each instant if these are the struck ball."""
    t, xy = things.time_s[chain], things.xy[chain]
    # a ball that is still seen in its toss was not struck yet; one late sighting may be the racket
    still = float(toss.seen_s[-2 if len(toss.seen_s) > MANY else -1])
    open_ = (grid < t[0]) & (grid >= still - 1e-9)
    if not open_.any():
        return None
    when = grid[open_]
    begin = toss.at(when)
    tau = t[None, :] - when[:, None]
    way = xy[None] - begin[:, None]
    a = np.zeros((len(when), 2 * len(chain) + 1, 3))
    a[:, :-1:2, 0] = a[:, 1:-1:2, 1] = tau
    a[:, :-1:2, 2], a[:, 1:-1:2, 2] = -tau * way[..., 0], -tau * way[..., 1]
    sd = SIGHTING_SHARE * things.tolerance
    a[:, -1, 2] = sd / DEPTH_SD
    y = np.concatenate([way.reshape(len(when), -1), np.zeros((len(when), 1))], axis=1)
    solved = np.einsum("gij,gj->gi", np.linalg.pinv(a), y)
    cost = np.sum((np.einsum("gij,gj->gi", a, solved) - y) ** 2, axis=1) / sd**2
    speed = solved[:, :2] - np.array([toss.velocity(float(w)) for w in when])
    change = np.hypot(*speed.T)
    cost = np.where((change < FASTER) | (np.hypot(*solved[:, :2].T) > 1.5 * FASTEST), 1e3, cost)
    k = int(np.argmin(cost))
    if cost[k] > 6.0 * len(chain) or (len(chain) < 3 and change[k] < 3.0 * FASTER):
        return None
    step = float(np.median(np.diff(things.looked_s)))
    sd = float(np.hypot(BLURRED * step, PATH_OFF * things.tolerance / change[k]))
    likely = _widened(grid, open_, -0.5 * np.minimum(cost, 1e3), sd)
    score = float(np.min(things.score[chain]))
    return WayOut(likely, (len(chain) - 1.0) * score / (1.0 + cost[k] / len(chain)), len(chain))


def _widened(grid: FloatArray, open_: BoolArray, log: FloatArray, sd: float) -> FloatArray:
    """Return a log-likelihood over part of the grid, smeared by a normal error of the time."""
    share = np.zeros(len(grid))
    share[open_] = np.exp(log - log.max())
    step = float(grid[1] - grid[0])
    wide = gaussian_filter1d(share, sd / step, mode="constant")
    return np.asarray(np.where(open_, np.log(np.maximum(wide, 1e-300)), -1e3))


def _along(half: FloatArray, speed: FloatArray, things: Things) -> bool:
    """Return whether a streak, where it is one, lies along the direction of flight."""
    length = float(np.hypot(*half))
    if length < 2.5 * things.tolerance:
        return True
    cosine = abs(float(half @ speed)) / (length * float(np.hypot(*speed)))
    return cosine > 0.85
