"""The tossed and the struck ball among the small moving things of a film.

Whatever flies free falls at 9.81 m/s² along the vertical, and the person beside it says how many
pixels a metre has: so a toss is a parabola of known curvature, and few things that are no ball
follow one for long. Where it ends and a straight, fast path begins, the ball was struck.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.contract.sightings import Sightings
from models.contract.tracks import BoolArray, FloatArray, IntArray
from workers.engine.load import GRAVITY

SCALE_SD = 0.12
"""Relative standard deviation of pixels per metre, taken from the torso in the picture: stature,
leaning, and a ball nearer to the camera than the body (working value)."""
TOLERANCE, TOLERANCE_PX = 0.012, 1.5
"""How far a sighting of the ball may lie off its path, standing heights (a third of a ball), and
at least so many pixels (working values)."""
MIN_SEEN = 4
"""Fewest sightings of a toss: three fix a parabola of known curvature, one more confirms it."""
MIN_SHARE = 0.4
"""Least share of the frames of a path in which it is seen (rendered and real films: 0.7 to 1)."""
FASTEST_TOSS = 8.5
"""m/s: a toss of 3.6 m over the hand."""
TRIALS = 6000
"""Pairs of sightings that are tried: where one in forty sightings is the ball, two are."""
SEARCHED_PER_S = 75.0
"""Pictures a second among which a toss is searched: more add clutter, and the ball has hardly moved
between them (working value)."""
GAP_S = (0.08, 0.45)
"""Time between the two sightings of a trial, seconds (working values)."""
FEW, FEW_SHARE, FEW_NOISIEST = 8, 0.7, 0.3
"""A toss of fewer sightings must be seen in this share of its frames, and scatter by no more than
this, in the tolerance (working values)."""
FINALISTS = 24
"""Unlike trials that are fitted to the end (working value)."""
SEED_OVER = 0.1
"""Standing heights over the shoulders from which a trial takes its two sightings: body and legs
give many, a tossed ball few (working value)."""
LEAST_TOP = 0.45
"""Standing heights over the shoulders: a serve is struck at 0.5 and more (rendered serves; arm and
racket reach 0.75), and its toss rises higher."""
NOISIEST = 0.45
"""Largest scatter of a toss about its path, in the tolerance: tosses of thirteen rendered and two
real films have 0.1 to 0.4, pieces of arms 0.6 and more."""
SLOWEST = 12.0
"""Most times slower than life that a clip is thought to play (working value)."""
BACKGROUND = 0.3
"""Share of the frames in which a thing is seen at one and the same place: no ball."""


@dataclass(frozen=True, slots=True)
class Things:
    """Sightings near the server in a stretch of time, in standing heights, v up."""

    time_s: FloatArray
    frame: IntArray
    xy: FloatArray
    half: FloatArray
    score: FloatArray
    looked_s: FloatArray
    px: float

    @property
    def tolerance(self) -> float:
        """How far off a path counts as on it."""
        return max(TOLERANCE, TOLERANCE_PX / self.px)


@dataclass(frozen=True, slots=True)
class Toss:
    """A free-flight path: ``xy(t) = place + speed (t - t0) - (0, fall/2) (t - t0)²``.

    Standing heights and seconds. ``fall`` is what was fitted, ``fall_sd`` its standard deviation
    from the sightings alone (no scale assumed). ``seen_s`` are the times of its sightings.
    ``noise`` is their scatter about the path.
    """

    t0: float
    place: FloatArray
    speed: FloatArray
    fall: float
    fall_sd: float
    noise: float
    seen_s: FloatArray
    share: float

    def at(self, time_s: FloatArray | float) -> FloatArray:
        """Return its place, shape (..., 2)."""
        t = np.asarray(time_s, np.float64)[..., None] - self.t0
        return np.asarray(self.place + self.speed * t - np.array([0.0, 0.5 * self.fall]) * t * t)

    def velocity(self, time_s: float) -> FloatArray:
        """Return its velocity, standing heights per second."""
        return np.asarray(self.speed - np.array([0.0, self.fall]) * (time_s - self.t0))

    @property
    def apex_s(self) -> float:
        """Time of its highest point."""
        return self.t0 + float(self.speed[1]) / max(self.fall, 1e-6)


def things_near(
    sightings: Sightings, start_s: float, stop_s: float, centre: FloatArray, px: float
) -> Things:
    """Return the sightings about a person in a stretch of time.

    Parameters
    ----------
    sightings : Sightings
    start_s, stop_s : float
    centre : ndarray, shape (2,)
        Somewhere on the person, pixels.
    px : float
        Standing height in the picture, pixels.
    """
    times = dict(zip(sightings.looked.tolist(), sightings.looked_s.tolist(), strict=True))
    when = np.array([times.get(int(i), np.nan) for i in sightings.thing_frame])
    place = (sightings.thing_xy - centre) / px
    with np.errstate(invalid="ignore"):
        near = (when >= start_s) & (when <= stop_s)
        near &= (np.abs(place[:, 0]) < 1.5) & (place[:, 1] < 0.6)
    flip = np.array([1.0, -1.0])
    looked = sightings.looked_s[(sightings.looked_s >= start_s) & (sightings.looked_s <= stop_s)]
    kept = near & ~_standing(place, when, near, len(looked))
    return Things(
        time_s=when[kept],
        frame=sightings.thing_frame[kept],
        xy=place[kept] * flip,
        half=sightings.thing_half[kept] / px * flip,
        score=sightings.thing_score[kept],
        looked_s=distinct(sightings, start_s, stop_s),
        px=px,
    )


def distinct(sightings: Sightings, start_s: float, stop_s: float) -> FloatArray:
    """Return the times of the frames in a stretch that show something new."""
    inside = (sightings.looked_s >= start_s) & (sightings.looked_s <= stop_s)
    with np.errstate(invalid="ignore"):
        again = sightings.change < 0.2 * _usual(sightings.change)
    return np.asarray(sightings.looked_s[inside & ~again])


def _usual(change: FloatArray) -> FloatArray:
    """Return the upper quartile of the changes around each frame."""
    result = np.full(len(change), np.nan)
    for i in range(len(change)):
        near = change[max(0, i - 6) : i + 7]
        near = near[np.isfinite(near)]
        if near.size:
            result[i] = np.percentile(near, 75)
    return result


def _standing(place: FloatArray, when: FloatArray, near: BoolArray, frames: int) -> BoolArray:
    """Return which things are seen again and again at one place: leaves, flags, faces."""
    cells = np.round(place / 0.01).astype(np.int64)
    key = cells[:, 0] * 100_003 + cells[:, 1]
    _, inverse, counts = np.unique(key[near], return_inverse=True, return_counts=True)
    often = np.zeros(len(when), dtype=np.bool_)
    often[near] = (counts > max(3, BACKGROUND * frames))[inverse]
    return often


def find_toss(
    things: Things,
    stature_m: float,
    seed: int = 0,
    *,
    timed: bool = True,
    until_s: float = np.inf,
    searched: BoolArray | None = None,
    completed: Callable[[Toss], Toss | None] = lambda toss: toss,
) -> Toss | None:
    """Return the best toss among things, or None.

    Parameters
    ----------
    things : Things
    stature_m : float
    seed : int
    timed : bool
        False = the clip may be slow motion: gravity may seem up to a hundred times smaller.
    until_s : float
        The ball is struck before this, seconds.
    searched : ndarray of bool, shape (N,), optional
        Things by which a toss is found; all by which it is fitted count.
    completed : callable
        Returns a toss as far as it is seen, or None where it is none.
    """
    early = things.time_s <= until_s
    order = np.flatnonzero(early)[np.argsort(things.time_s[early], kind="stable")]
    t, xy = things.time_s[order], things.xy[order]
    tried = _thinned(things.looked_s, t)
    if searched is not None:
        tried &= searched[order]
    seeds = np.flatnonzero(tried & (xy[:, 1] > SEED_OVER))
    if len(np.unique(t)) < MIN_SEEN or seeds.size < 2:
        return None
    rng = np.random.default_rng(seed)
    odds = things.score[order][seeds]
    first = rng.choice(seeds, TRIALS, p=odds / odds.sum())
    slow = np.ones(TRIALS) if timed else np.exp(rng.uniform(0.0, np.log(SLOWEST), TRIALS))
    low = np.searchsorted(t[seeds], t[first] + GAP_S[0] * slow)
    high = np.searchsorted(t[seeds], t[first] + GAP_S[1] * slow)
    second = seeds[
        np.minimum(low + (rng.random(TRIALS) * (high - low)).astype(int), len(seeds) - 1)
    ]
    gap = t[second] - t[first]
    fall = GRAVITY / stature_m / slow**2
    speed = (xy[second] - xy[first]) / np.where(gap > 0.0, gap, 1.0)[:, None]
    speed[:, 1] += 0.5 * fall * gap
    limit = FASTEST_TOSS / stature_m / slow
    good = (high > low) & (gap > 0.0)
    good &= (np.abs(speed[:, 0]) < 0.5 * limit) & (np.abs(speed[:, 1]) < limit)
    good &= xy[first, 1] + 0.5 * speed[:, 1] ** 2 / fall > LEAST_TOP
    first, speed, fall = first[good], speed[good], fall[good]
    worth = np.zeros(len(first))
    few_t, few_xy = t[tried], xy[tried]
    frames = np.unique(few_t, return_inverse=True)[1]
    for i in range(len(first)):
        off = _off(few_t, few_xy, t[first[i]], xy[first[i]], speed[i], float(fall[i]))
        near = np.flatnonzero(off < things.tolerance)
        best = np.zeros(frames[-1] + 1)
        np.maximum.at(best, frames[near], 1.0 - (off[near] / things.tolerance) ** 2)
        worth[i] = best.sum()
    found: list[Toss] = []
    taken: list[tuple[float, FloatArray, FloatArray, float]] = []
    for i in np.argsort(-worth, kind="stable"):
        if len(taken) >= FINALISTS or worth[i] <= 0.0:
            break
        start = (float(t[first[i]]), xy[first[i]], speed[i], float(fall[i]))
        if any(_alike(start, known, things.tolerance) for known in taken):
            continue
        taken.append(start)
        toss = refined(things, t, xy, start, stature_m, timed=timed)
        whole = None if toss is None else completed(toss)
        if whole is not None:
            found.append(whole)
    return max(found, key=lambda toss: len(toss.seen_s), default=None)


def _alike(
    one: tuple[float, FloatArray, FloatArray, float],
    other: tuple[float, FloatArray, FloatArray, float],
    tolerance: float,
) -> bool:
    """Return whether two trials are one path."""
    ends = [Toss(*trial, 0.0, 0.0, np.empty(0), 0.0) for trial in (one, other)]
    times = np.array([one[0], one[0] + 0.1])
    apart = np.hypot(*(ends[0].at(times) - ends[1].at(times)).T)
    return bool(np.all(apart < 2.0 * tolerance))


def _thinned(looked: FloatArray, t: FloatArray) -> BoolArray:
    """Return which of some times are of the pictures that are searched."""
    if len(looked) < 2:
        return np.ones(len(t), dtype=np.bool_)
    every = max(1, round(1.0 / (SEARCHED_PER_S * float(np.median(np.diff(looked))))))
    return np.asarray(np.searchsorted(looked, t) % every == 0)


def _off(
    t: FloatArray, xy: FloatArray, t0: float, place: FloatArray, speed: FloatArray, fall: float
) -> FloatArray:
    """Return how far things are off a path."""
    dt = t - t0
    u = xy[:, 0] - place[0] - speed[0] * dt
    v = xy[:, 1] - place[1] - speed[1] * dt + 0.5 * fall * dt * dt
    return np.asarray(np.hypot(u, v))


def refined(
    things: Things,
    t: FloatArray,
    xy: FloatArray,
    start: tuple[float, FloatArray, FloatArray, float],
    stature_m: float,
    *,
    timed: bool,
) -> Toss | None:
    """Return the path fitted to all that is on it, or None if it is no toss."""
    t0, place, speed, fall = start
    tol, expected = things.tolerance, GRAVITY / stature_m
    for turn in range(5):
        off = _off(t, xy, t0, place, speed, fall)
        rows = _unbroken(things.looked_s, t, _one_a_frame(t, off, (1.5 if turn < 3 else 1.0) * tol))
        if len(rows) < MIN_SEEN:
            return None
        dt = t[rows] - t0
        line = np.stack([np.ones(len(rows)), dt], 1)
        x = np.linalg.lstsq(line, xy[rows, 0], rcond=None)[0]
        # pixels per metre are known roughly, unless the clock itself is asked for
        weight = 0.3 * tol / (SCALE_SD * expected) if timed else 0.0
        curve = np.vstack([np.column_stack([line, -0.5 * dt * dt]), [0.0, 0.0, weight]])
        y = np.linalg.lstsq(curve, np.append(xy[rows, 1], weight * expected), rcond=None)[0]
        place, speed, fall = np.array([x[0], y[0]]), np.array([x[1], y[1]]), float(y[2])
    seen = t[rows]
    noise = float(np.sqrt(np.mean(_off(t[rows], xy[rows], t0, place, speed, fall) ** 2) / 2.0))
    span = (things.looked_s >= seen[0]) & (things.looked_s <= seen[-1])
    share = len(seen) / max(int(span.sum()), 1)
    toss = Toss(t0, place, speed, fall, _fall_sd(seen - t0, noise), noise, seen, share)
    rises = float(toss.velocity(float(seen[0]))[1]) > 0.0
    least = FEW_SHARE if len(seen) < FEW else MIN_SHARE
    top = float(toss.at(toss.apex_s)[1])
    noisiest = (FEW_NOISIEST if len(seen) < FEW else NOISIEST) * tol
    if share < least or top < LEAST_TOP or not rises or fall <= 0.0 or noise > noisiest:
        return None
    return toss


def _fall_sd(dt: FloatArray, noise: float) -> float:
    a = np.stack([np.ones(len(dt)), dt, -0.5 * dt * dt], 1)
    return float(noise * np.sqrt(np.linalg.pinv(a.T @ a)[2, 2]))


def _one_a_frame(t: FloatArray, off: FloatArray, limit: float) -> IntArray:
    """Return the row of the nearest thing of each frame that is near enough."""
    rows = np.flatnonzero(off < limit)
    best: dict[float, int] = {}
    for row in rows:
        known = best.get(float(t[row]))
        if known is None or off[row] < off[known]:
            best[float(t[row])] = int(row)
    return np.array(sorted(best.values(), key=lambda row: t[row]), np.int64)


def _unbroken(looked: FloatArray, t: FloatArray, rows: IntArray) -> IntArray:
    """Return the longest run of sightings without long gaps, but for one: a ball over the top of
    the picture comes back.
    """
    if len(rows) < 2:
        return rows
    number = np.searchsorted(looked, t[rows])
    breaks = np.flatnonzero((np.diff(number) > 3) & (np.diff(t[rows]) > 0.09)) + 1
    runs = np.split(rows, breaks)
    if len(runs) == 1:
        return rows
    sizes = [len(run) for run in runs]
    i = int(np.argmax(sizes))
    joined = [runs[i]]
    for j in (i - 1, i + 1):
        if 0 <= j < len(runs) and len(runs[j]) >= 3:
            joined.append(runs[j])
            break
    return np.sort(np.concatenate(joined))
