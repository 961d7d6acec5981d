"""The instants of one repetition: in the body's motion, and where a film shows it by the ball.

Each event is tied to a feature of the motion that can be seen without racket or ball, plus a
fixed lag between that feature and the event. Lags are for full-speed serves and stretch with the
duration of the swing, so that slow shadow swings keep their order. The ball's flight and the sound
of its being struck tell contact and release themselves. What a film does not show, since it begins
too late or ends too early, is said to be missing and never put in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicSpline

from models.contract.note_codes import NoteCode
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, BoolArray, FloatArray
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.contact_time import contact_time, said
from workers.engine.evidence import Evidence
from workers.engine.geometry import flexion
from workers.engine.release_time import release_time
from workers.engine.smoothing import local_fit
from workers.engine.stillness import STANCE_S, lasting
from workers.engine.turning import Told
from workers.engine.witness import Witness, from_motion

GRID_S = 1.0 / 480.0
"""Step of the grid on which series are searched, seconds: twice as fine as 240 frames per
second."""

LONGEST_SWING_S = 0.6
"""Trophy to highest wrist in a full-speed serve is shorter (rendered serves 0.29 to 0.52 s);
longer swings stretch the lags below in proportion."""
LONGEST_DRIVE_S = 0.8
"""A full-speed serve takes less from loading to its highest wrist."""
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
KNEE_TRUST = 0.25
"""The knees are most bent where the pelvis is lowest, give or take; knees seen from film are
noisier than the pelvis, so the pelvis counts three times."""
SET_UP_LAG_S = 0.02
"""Movement starts before it is fast enough to be seen."""
FINISH_LAG_S = 0.085
"""The wrist has slowed to 6 % of its peak before it stops."""
LEAST_HUNG_S = 0.08
"""The tossing hand is seen below the shoulder for so long where a film shows its way up, seconds
(working value)."""
EDGE_S = 0.02
"""An event nearer to the first or last frame may lie outside the film, seconds or one frame."""
NEAR_CONTACT_S, NEAR_TROPHY_S = 0.12, 0.12
"""The learned lift is seldom off by more (50 rendered films it was not trained on: contact by
0.03 s at most, trophy position by 0.11 s in 19 of 20)."""
LEARNED_SHARE, LEARNED_TROPHY_SHARE = 0.5, 0.3
"""How much the lift counts where it and the motion agree (least errors on the same films)."""
AGREE_S = 0.1
"""Events seen and learned that are farther apart are two different things."""
STILL_DOUBT = (0.6, 1.6)
"""Other thresholds, as shares: where a slow start is crossed at other times, it is that unsure."""
STILL_SPEED = 0.12
"""Standing heights per second under which the fastest of hands and hips counts as still."""


@dataclass(frozen=True, slots=True)
class Instant:
    """An event: time and standard uncertainty in seconds, confidence 0..1, what it was told by."""

    time_s: float
    sd_s: float
    confidence: float
    method: str = "body"


@dataclass(frozen=True, slots=True)
class Located:
    """The events of a repetition, and why others are missing."""

    events: Mapping[EventName, Instant]
    missing: Mapping[EventName, NoteCode] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Paths:
    """The series the events are read from, on a fine uniform grid."""

    time_s: FloatArray
    hand: FloatArray
    toss: FloatArray
    hips: FloatArray
    activity: FloatArray
    hand_speed: FloatArray
    elbow: FloatArray
    knees: FloatArray
    step_s: float

    def within(self, start: float, end: float) -> BoolArray:
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


def locate(
    motion: BodyMotion,
    kind: RepetitionKind,
    witness: Witness | None = None,
    learned: Mapping[EventName, float] | None = None,
    evidence: Evidence | None = None,
    film: tuple[float, float] | None = None,
) -> Located:
    """Return the events of a repetition that could be found, and why others could not.

    Parameters
    ----------
    motion : BodyMotion
        One repetition, canonical court frame.
    kind : RepetitionKind
    witness : Witness, optional
        Heights and speeds at the motion's frames, where they are known better than in the
        motion: from film, the picture's own.
    learned : mapping of EventName to float, optional
        Where the learned lift thinks the events of a serve are, seconds: keeps the search near
        them, and counts in part. Other work is not learned.
    evidence : Evidence, optional
        Ball and sounds.
    film : (float, float), optional
        First and last time of the whole film, seconds; of the motion without.

    Returns
    -------
    Located
        Times lie within the motion.
    """
    if kind is RepetitionKind.HOLD:
        return Located(_hold(motion))
    whole = (float(motion.time_s[0]), float(motion.time_s[-1])) if film is None else film
    paths = _paths(motion, from_motion(motion) if witness is None else witness)
    found: dict[EventName, float] = {}
    near = learned if learned and kind is RepetitionKind.SERVE else {}
    highest = paths.extreme(paths.hand, paths.around(near.get(EventName.CONTACT), NEAR_CONTACT_S))
    if highest is None:
        return Located({})
    edge = max(EDGE_S, paths.step_s)
    begun = float(paths.time_s[0]) > whole[0] + edge or _hand_hung(paths, highest)
    told: dict[EventName, Told] = {}
    missing: dict[EventName, NoteCode] = {}
    release = _release(paths, highest) if begun else None
    if evidence is not None and evidence.toss is not None and kind is RepetitionKind.SERVE:
        arm = None if release is None else Told(release, _LAG_SD[EventName.RELEASE], "hand")
        seen = release_time(evidence, arm)
        if seen is not None:
            told[EventName.RELEASE] = seen
            release = seen.time_s
    start = float(paths.time_s[0]) if release is None else release
    if kind is RepetitionKind.SERVE:
        start = max(start, highest - LONGEST_DRIVE_S)
    loaded = paths.around(near.get(EventName.TROPHY), NEAR_TROPHY_S)
    found |= _load(paths, loaded & paths.within(start, highest - 0.1))
    trophy = found.get(EventName.TROPHY)
    if trophy is not None:
        trophy = _joined(trophy, near.get(EventName.TROPHY), LEARNED_TROPHY_SHARE)
        found[EventName.TROPHY] = trophy
    stretch = 1.0 if trophy is None else (highest - trophy) / LONGEST_SWING_S
    stretch = min(max(stretch, 1.0), 8.0)
    contact = _contact(paths, highest, stretch, use_elbow=witness is None)
    contact = _joined(contact, near.get(EventName.CONTACT), LEARNED_SHARE)
    if evidence is not None and kind is RepetitionKind.SERVE and evidence.tells_contact:
        struck = contact_time(
            highest,
            stretch,
            paths.step_s,
            near.get(EventName.CONTACT),
            evidence,
            float(paths.time_s[-1]),
        )
        contact = struck.time_s
        told[EventName.CONTACT] = Told(contact, struck.sd_s, said(struck.sources))
    found[EventName.CONTACT] = contact
    if kind is not RepetitionKind.THROW:
        low = _racket_low(paths, contact, stretch)
        if low is not None:
            learned_low = near.get(EventName.RACKET_LOW)
            found[EventName.RACKET_LOW] = _joined(low, learned_low, LEARNED_SHARE)
    if release is not None and kind is not RepetitionKind.THROW:
        found[EventName.RELEASE] = release
    elif not begun:
        missing[EventName.RELEASE] = NoteCode.FILM_STARTS_LATE
    before = min(t for t in (found.get(EventName.RELEASE), trophy, contact) if t is not None)
    set_up = _set_up(paths, before) if begun else None
    if set_up is not None:
        found[EventName.SET_UP] = set_up
    elif float(paths.time_s[0]) <= whole[0] + edge:
        missing[EventName.SET_UP] = NoteCode.FILM_STARTS_LATE
    finish = _finish(paths, contact, stretch)
    if finish is not None:
        found[EventName.FINISH] = finish
    elif float(paths.time_s[-1]) >= whole[1] - edge:
        missing[EventName.FINISH] = NoteCode.FILM_ENDS_EARLY
    instants = _instants(motion, found, told, stretch)
    if set_up is not None:
        others = [_set_up(paths, before, share) for share in STILL_DOUBT]
        times = [set_up, *(time for time in others if time is not None)]
        plain = instants[EventName.SET_UP]
        sd = float(np.hypot(plain.sd_s, (max(times) - min(times)) / 2.0))
        instants[EventName.SET_UP] = replace(plain, sd_s=sd)
    return _inside(instants, missing, whole, edge)


def assumed_event_sd(frame_interval_s: float, event: EventName, stretch: float = 1.0) -> float:
    """Return the standard uncertainty of an event's time: the lag's own spread and sampling.

    Sampling adds ``dt / sqrt(12)``.
    """
    return float(np.hypot(_LAG_SD[event] * stretch, frame_interval_s / np.sqrt(12.0)))


_LAG_SD: Mapping[EventName, float] = {
    EventName.SET_UP: 0.060,
    EventName.RELEASE: 0.035,
    EventName.LOADING: 0.025,
    EventName.TROPHY: 0.025,
    EventName.RACKET_LOW: 0.020,
    EventName.CONTACT: 0.008,
    EventName.FINISH: 0.060,
}


def _paths(motion: BodyMotion, witness: Witness) -> _Paths:
    time = motion.time_s
    smooth = local_fit(time, motion.joints.transpose(1, 0, 2), 0.035)[0]
    joint = dict(zip(CANONICAL_BODY.names, smooth, strict=True))
    elbow = flexion(*(joint[f"hitting_{j}"] for j in ("shoulder", "elbow", "wrist")))
    knees = np.mean(
        [
            flexion(*(joint[f"{side}_{j}"] for j in ("hip", "knee", "ankle")))
            for side in ("front", "rear")
        ],
        axis=0,
    )
    series = np.stack(
        [
            witness.hand,
            witness.toss,
            witness.hips,
            witness.activity,
            witness.hand_speed,
            elbow,
            knees,
        ],
        axis=1,
    )
    count = max(round((time[-1] - time[0]) / GRID_S), 2)
    grid = np.linspace(time[0], time[-1], count + 1)
    fine = CubicSpline(time, series, axis=0)(grid)
    step = float(np.median(np.diff(time)))
    hand, toss, hips, activity, hand_speed, elbow, knees = fine.T
    return _Paths(grid, hand, toss, hips, activity, hand_speed, elbow, knees, step)


def _release(paths: _Paths, highest: float) -> float | None:
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


def _hand_hung(paths: _Paths, highest: float) -> bool:
    """Return whether the tossing hand was seen below the shoulder before it went up."""
    top = paths.extreme(paths.toss, paths.within(float(paths.time_s[0]), highest))
    if top is None:
        return False
    low = (paths.toss < 0.0) & (paths.time_s < top)
    return bool(np.sum(low) * (paths.time_s[1] - paths.time_s[0]) >= LEAST_HUNG_S)


def _hung_until(paths: _Paths, top: float) -> float:
    """Return the end of the last stretch before ``top`` with the hand below the shoulder."""
    below = np.concatenate([[False], (paths.toss < 0.0) & (paths.time_s < top), [False]])
    begins, ends = np.flatnonzero(np.diff(below.astype(int)) != 0).reshape(-1, 2).T
    long = (ends - begins) * GRID_S >= HUNG_S
    return float(paths.time_s[ends[long][-1] - 1] if long.any() else paths.time_s[0])


def _joined(seen: float, learned: float | None, share: float) -> float:
    """Return the mean of an event seen and learned, whose errors are unlike, if they agree."""
    if learned is None or abs(learned - seen) > AGREE_S:
        return seen
    return (1.0 - share) * seen + share * learned


def _load(paths: _Paths, mask: BoolArray) -> dict[EventName, float]:
    """Lowest pelvis and largest mean knee flexion while the tossing arm is up."""
    loading = paths.extreme(paths.hips, mask, -1)
    if loading is None:
        return {}
    near = mask & paths.within(loading - 0.25, loading + 0.25)
    bent = paths.extreme(paths.knees, near)
    trophy = loading if bent is None else loading + KNEE_TRUST * (bent - loading)
    return {EventName.LOADING: loading, EventName.TROPHY: trophy}


def _contact(paths: _Paths, highest: float, stretch: float, *, use_elbow: bool) -> float:
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


def _racket_low(paths: _Paths, contact: float, stretch: float) -> float | None:
    first = contact - RACKET_LOW_TO_CONTACT_S * stretch
    mask = paths.within(first - 0.1 * stretch, first + 0.08 * stretch)
    bent = paths.extreme(paths.elbow, mask)
    if bent is None:
        return None
    pull = bent + ELBOW_BENT_TO_RACKET_LOW_S * stretch - first
    limit = ELBOW_PULL_S * stretch
    return float(first + 0.5 * np.clip(pull, -limit, limit))


def _set_up(paths: _Paths, before: float, share: float = 1.0) -> float | None:
    """Last instant of the stance before the toss, with hands and hips still; None without one.

    A lull in the movement is no stance: nothing can be counted from it.
    """
    mask = paths.within(paths.time_s[0], before)
    stance = lasting(mask & (paths.activity < share * STILL_SPEED), paths.time_s, STANCE_S)
    if not stance.any():
        return None
    last = float(paths.time_s[np.flatnonzero(stance)[-1]])
    return max(last - SET_UP_LAG_S, float(paths.time_s[0]))


def _finish(paths: _Paths, contact: float, stretch: float) -> float | None:
    """First instant after contact at which the hitting wrist has all but stopped, if seen."""
    after = paths.within(contact + 0.15 * stretch, contact + 1.2 * stretch)
    peak = float(np.max(paths.hand_speed))
    slow = np.flatnonzero(after & (paths.hand_speed < 0.06 * peak))
    if slow.size == 0:
        return None
    # the wrist stops a little after it is seen to be slow: not later than the last frame tells
    return min(float(paths.time_s[slow[0]]) + FINISH_LAG_S * stretch, float(paths.time_s[-1]))


def _hold(motion: BodyMotion) -> dict[EventName, Instant]:
    """A hold is still: its ends are set-up and finish, its middle loading and trophy."""
    start, end = float(motion.time_s[0]), float(motion.time_s[-1])
    middle = (start + end) / 2.0
    found = {
        EventName.SET_UP: start,
        EventName.LOADING: middle,
        EventName.TROPHY: middle,
        EventName.FINISH: end,
    }
    return _instants(motion, found, {}, 1.0)


def _instants(
    motion: BodyMotion,
    found: Mapping[EventName, float],
    told: Mapping[EventName, Told],
    stretch: float,
) -> dict[EventName, Instant]:
    step = float(np.median(np.diff(motion.time_s)))
    return {
        event: Instant(
            time_s=time,
            sd_s=max(told[event].sd_s, step / float(np.sqrt(12.0)))
            if event in told
            else assumed_event_sd(step, event, stretch),
            confidence=0.9,
            method=told[event].source if event in told else "body",
        )
        for event, time in sorted(found.items(), key=lambda item: item[1])
    }


def _inside(
    instants: Mapping[EventName, Instant],
    missing: dict[EventName, NoteCode],
    film: tuple[float, float],
    edge: float,
) -> Located:
    """Return the events that the film holds: one at its very ends may lie beyond them."""
    kept: dict[EventName, Instant] = {}
    for event, instant in instants.items():
        if instant.time_s >= film[1] - edge and event is not EventName.FINISH:
            missing[event] = NoteCode.FILM_ENDS_EARLY
        elif instant.time_s <= film[0] + edge and event is not EventName.SET_UP:
            missing[event] = NoteCode.FILM_STARTS_LATE
        else:
            kept[event] = instant
    return Located(kept, missing)
