"""Features of the body's motion that tell the instants of a repetition, each with its fixed lag.

Lags are for full-speed serves; callers stretch them with the duration of the swing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, BoolArray, FloatArray
from workers.engine.geometry import flexion
from workers.engine.smoothing import local_fit
from workers.engine.stillness import STANCE_S, lasting
from workers.engine.witness import Witness

GRID_S = 1.0 / 480.0
"""Step of the grid on which series are searched, seconds: twice as fine as 240 frames per
second."""

WRIST_PEAK_TO_CONTACT_S = 0.029
"""The wrist is highest before contact: the racket is still rising over it."""
WRIST_PEAK_LAG_LOW_RATE_S, LOW_RATE_STEP_S = 0.022, 0.025
"""At 30 frames per second the top is smoothed over more of the fall, and so found later."""
FILM_WRIST_LATE_S = 0.006
"""In film the smoothed row of the wrist is highest this much later than the wrist itself (mean of
60 rendered serves)."""
ELBOW_STRAIGHT_TO_CONTACT_S = -0.010
"""The elbow is straightest just after contact, where it does not go on straightening."""
ELBOW_PULL_S = 0.014
"""How far the elbow may move the contact given by the wrist, half each; not from film, where the
elbow is less sure than the row of the wrist."""
RACKET_LOW_TO_CONTACT_S = 0.150
"""Usual time from the lowest racket tip to contact at full speed, seconds (working value)."""
ELBOW_BENT_TO_RACKET_LOW_S = 0.007
"""The elbow is most bent just before the racket tip is lowest."""
RELEASE_REACH_SHARE = 0.58
"""Height of the tossing wrist over its shoulder at release, in its greatest height: an arm about
35 deg above the horizontal."""
HUNG_S = 0.25
"""The tossing hand hangs below the shoulder at least this long before the toss."""
MIN_REACH = 0.15
"""Standing heights; less is no raised tossing arm."""
SET_UP_LAG_S = 0.02
"""Movement starts before it is fast enough to be seen."""
FILM_SET_UP_LAG_S = 0.05
"""In film it is seen later still: with the lag above 16 to 48 ms too late in the median on 175
rendered serves, each of four ways of moving."""
FINISH_LAG_S = 0.085
"""The wrist has slowed to 6 % of its peak before it stops."""
LEAST_HUNG_S = 0.08
"""The tossing hand is seen below the shoulder for so long where a film shows its way up, seconds
(working value)."""
STILL_SPEED = 0.12
"""Standing heights per second under which the fastest of hands and hips counts as still."""


@dataclass(frozen=True, slots=True)
class Paths:
    """The series the events are read from, on a fine uniform grid."""

    time_s: FloatArray
    hand: FloatArray
    toss: FloatArray
    activity: FloatArray
    hand_speed: FloatArray
    elbow: FloatArray
    step_s: float

    def within(self, start: float, end: float) -> BoolArray:
        """Return the instants from one time to another, seconds."""
        return np.asarray((self.time_s >= start) & (self.time_s <= end))

    def around(self, time_s: float | None, reach_s: float) -> BoolArray:
        """Return the instants near a time; all of them without one."""
        if time_s is None:
            return np.ones(len(self.time_s), dtype=np.bool_)
        return self.within(time_s - reach_s, time_s + reach_s)

    def extreme(self, series: FloatArray, mask: BoolArray, sign: int = 1) -> float | None:
        """Return the time of the largest (smallest) value in the mask, or None."""
        where = np.flatnonzero(mask & np.isfinite(series))
        if where.size == 0:
            return None
        return float(self.time_s[where[np.argmax(sign * series[where])]])


def paths_of(motion: BodyMotion, witness: Witness) -> Paths:
    """Return the series of a stretch, smoothed and on a fine uniform grid."""
    time = motion.time_s
    smooth = local_fit(time, motion.joints.transpose(1, 0, 2), 0.035)[0]
    joint = dict(zip(CANONICAL_BODY.names, smooth, strict=True))
    elbow = flexion(*(joint[f"hitting_{j}"] for j in ("shoulder", "elbow", "wrist")))
    series = np.stack(
        [
            witness.hand,
            witness.toss,
            witness.activity,
            witness.hand_speed,
            elbow,
        ],
        axis=1,
    )
    count = max(round((time[-1] - time[0]) / GRID_S), 2)
    grid = np.linspace(time[0], time[-1], count + 1)
    fine = CubicSpline(time, series, axis=0)(grid)
    step = float(np.median(np.diff(time)))
    hand, toss, activity, hand_speed, elbow = fine.T
    return Paths(grid, hand, toss, activity, hand_speed, elbow, step)


def toss_release(paths: Paths, highest: float) -> float | None:
    """Return when the tossing arm, on its way up, passed the height at which the ball leaves.

    Its way up begins where it last hung below the shoulder for a while: a wrist that is lost for
    some frames, as from behind, is no second toss.
    """
    before = paths.within(paths.time_s[0], highest)
    top = paths.extreme(paths.toss, before)
    if top is None:
        return None
    reach = float(paths.toss[np.searchsorted(paths.time_s, top)])
    if reach < MIN_REACH:
        return None
    rising = paths.within(_hung_until(paths, top), top)
    high = np.flatnonzero(rising & (paths.toss >= RELEASE_REACH_SHARE * reach))
    return float(paths.time_s[high[0] - 1]) if high.size and high[0] > 0 else None


def hand_hung(paths: Paths, highest: float) -> bool:
    """Return whether the tossing hand was seen below the shoulder before it went up."""
    top = paths.extreme(paths.toss, paths.within(float(paths.time_s[0]), highest))
    if top is None:
        return False
    low = (paths.toss < 0.0) & (paths.time_s < top)
    return bool(np.sum(low) * (paths.time_s[1] - paths.time_s[0]) >= LEAST_HUNG_S)


def _hung_until(paths: Paths, top: float) -> float:
    """Return the end of the last stretch before ``top`` with the hand below the shoulder."""
    below = np.concatenate([[False], (paths.toss < 0.0) & (paths.time_s < top), [False]])
    begins, ends = np.flatnonzero(np.diff(below.astype(int)) != 0).reshape(-1, 2).T
    long = (ends - begins) * GRID_S >= HUNG_S
    return float(paths.time_s[ends[long][-1] - 1] if long.any() else paths.time_s[0])


def hand_contact(paths: Paths, highest: float, stretch: float, *, use_elbow: bool) -> float:
    """Contact follows the highest wrist; the straightest elbow corrects it a little."""
    slow_film = paths.step_s > LOW_RATE_STEP_S
    lag = WRIST_PEAK_LAG_LOW_RATE_S if slow_film else WRIST_PEAK_TO_CONTACT_S
    if not use_elbow:
        lag -= FILM_WRIST_LATE_S
    first = highest + lag * stretch
    near = paths.within(highest - 0.05 * stretch, highest + 0.08 * stretch)
    straight = paths.extreme(paths.elbow, near, -1)
    if straight is None or not use_elbow:
        return first
    pull = straight + ELBOW_STRAIGHT_TO_CONTACT_S * stretch - first
    limit = ELBOW_PULL_S * stretch
    return float(first + 0.5 * np.clip(pull, -limit, limit))


def racket_lowest(paths: Paths, contact: float, stretch: float) -> float | None:
    """Return when the racket is lowest: its usual time before contact, corrected by the elbow."""
    first = contact - RACKET_LOW_TO_CONTACT_S * stretch
    mask = paths.within(first - 0.1 * stretch, first + 0.08 * stretch)
    bent = paths.extreme(paths.elbow, mask)
    if bent is None:
        return None
    pull = bent + ELBOW_BENT_TO_RACKET_LOW_S * stretch - first
    limit = ELBOW_PULL_S * stretch
    return float(first + 0.5 * np.clip(pull, -limit, limit))


def stance_end(
    paths: Paths, before: float, share: float = 1.0, lag_s: float = SET_UP_LAG_S
) -> float | None:
    """Last instant of the stance before the toss, with hands and hips still; None without one.

    A lull in the movement is no stance: nothing can be counted from it.
    """
    mask = paths.within(paths.time_s[0], before)
    stance = lasting(mask & (paths.activity < share * STILL_SPEED), paths.time_s, STANCE_S)
    if not stance.any():
        return None
    last = float(paths.time_s[np.flatnonzero(stance)[-1]])
    return max(last - lag_s, float(paths.time_s[0]))


def wrist_rest(paths: Paths, contact: float, stretch: float) -> float | None:
    """First instant after contact at which the hitting wrist has all but stopped, if seen."""
    after = paths.within(contact + 0.15 * stretch, contact + 1.2 * stretch)
    peak = float(np.max(paths.hand_speed))
    slow = np.flatnonzero(after & (paths.hand_speed < 0.06 * peak))
    if slow.size == 0:
        return None
    # the wrist stops a little after it is seen to be slow: not later than the last frame tells
    return min(float(paths.time_s[slow[0]]) + FINISH_LAG_S * stretch, float(paths.time_s[-1]))
