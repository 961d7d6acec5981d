"""Find the work in a clip: serves, slow shadow swings, throws and static holds.

The mark of a serve that no other stroke shares is the order of the arms: the tossing hand goes
up over the head, and while it comes down the hitting hand passes over the head fast and falls
away. Thresholds are in torso lengths (about 0.29 of standing height) and are engineering choices
checked on rendered and real films, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import find_peaks

from models.contract.tracks import BoolArray, FloatArray
from models.contract.vocabulary import Handedness, RepetitionKind
from workers.engine.kind_of_swing import kind_by, serve_probability
from workers.engine.signals import SIDES, Signals
from workers.engine.stillness import STANCE_S, lasting

OVERHEAD = 0.55
"""Wrist over the mid-shoulder at the top of either arm's reach."""
OVERHEAD_SWING = 0.25
"""Lowest top of a hitting wrist after a toss: a fast hand is cut off between two frames."""
TOSS_BEFORE_S = (0.08, 3.5)
"""The tossing hand is highest this long before the hitting hand (slow swings included)."""
TOSS_DROP = 0.25
"""By how much the tossing hand has come down when the hitting hand is highest."""
RISEN = 0.2
"""By how much the hitting hand is lower while the tossing hand is up (working value)."""
MIN_RISE = 2.2
"""Slowest upward hand speed of a swing."""
MIN_SWING = 7.0
"""Least sum of upward and downward speed where the hand is not seen overhead."""
SERVE_RISE = 8.0
"""Usual greatest upward speed of the hitting hand in a serve, torso lengths per second (working
value)."""
COCKED_DEG, EXTENDED_DEG = 60.0, 50.0
"""A throw without a raised tossing arm shows a bent elbow that straightens; a toss does not."""
BEFORE_S, BEFORE_SLOW_S = 3.2, 7.0
"""Longest time from set-up to contact, full speed and slow."""
AFTER_S = 0.75
"""Longest time from the highest hand to the finish, seconds at full speed (working value)."""
STILL = 0.5
"""Fastest hand, hip or head while standing still, torso lengths per second."""
HOLD_MIN_S = 0.8
"""Shortest hold, seconds (working value)."""
HOLD_STILL = 0.35
"""Slow drift under which a posture is held, torso lengths per second (working value)."""
HOLD_DROP = 0.08
"""Hips below standing in a hold."""
HOLD_KNEES_DEG = 25.0
"""Bend of the knees that makes a hold where the hips are not low, degrees (working value)."""


@dataclass(frozen=True, slots=True)
class FoundWork:
    """One piece of work found in a clip.

    ``start`` and ``stop`` are rows of the source (half-open); ``contact_s`` is the rough time of
    the highest hitting wrist (holds: the middle). ``serve_probability``: of a swing after a raised
    tossing hand that nobody named, against a slow shadow repetition.
    """

    kind: RepetitionKind
    hitting: Handedness
    start: int
    stop: int
    contact_s: float
    confidence: float
    serve_probability: float | None = None


@dataclass(frozen=True, slots=True)
class _Swing:
    side: str
    peak: int
    toss: int | None
    rise: float
    fall: float
    score: float


def find_work(
    signals: Signals,
    handedness: Handedness = Handedness.UNKNOWN,
    drill: RepetitionKind | None = None,
) -> list[FoundWork]:
    """Return the repetitions of a clip in order of time; empty when there is none.

    Parameters
    ----------
    signals : Signals
    handedness : Handedness
        If known, only that hand can be the hitting hand. Otherwise the hand with more evidence
        over the whole clip is, since one clip shows one player.
    drill : RepetitionKind or None
        What the caller says the work is. Where holds were asked for, hands that pass overhead on
        the way into the posture and out of it are no swings, and a hand up or bent legs will do.
    """
    if drill is RepetitionKind.HOLD:
        return _holds(signals, (), handedness, asked=True)
    swings = [swing for side in SIDES for swing in _swings(signals, side)]
    side = _hitting_side(swings, handedness)
    kept = [swing for swing in swings if swing.side == side]
    found = _candidates(signals, kept)
    found += _holds(signals, found, Handedness(side) if side else handedness)
    found.sort(key=lambda candidate: candidate.start)
    if drill is None:
        return found
    return [
        one if one.kind is RepetitionKind.HOLD else replace(one, kind=drill, serve_probability=None)
        for one in found
    ]


SURE = 0.6
"""Least confidence of a serve with the other hand that contradicts what was stated (working
value)."""


def other_hand_hits(signals: Signals, found: Sequence[FoundWork], stated: Handedness) -> bool:
    """Return whether the hand that was not stated surely serves, and more surely than the stated
    one: whatever is found with that one is the tossing arm.

    Parameters
    ----------
    signals : Signals
    found : sequence of FoundWork
        With the stated hand.
    stated : Handedness
    """
    if stated is Handedness.UNKNOWN:
        return False
    least = max((one.confidence for one in found), default=0.0)
    return any(
        one.kind in (RepetitionKind.SERVE, RepetitionKind.SHADOW)
        and one.confidence >= SURE
        and one.confidence > least
        and one.hitting is not stated
        for one in find_work(signals)
    )


def told_unasked(found: Sequence[FoundWork]) -> list[FoundWork]:
    """Return the work that is told where nobody said what the swings are: all but throws.

    A throw is the only work without a raised tossing hand: unasked it may be any overhead stroke.
    """
    return [one for one in found if one.kind is not RepetitionKind.THROW]


def handedness_of(candidates: Sequence[FoundWork]) -> Handedness:
    """Return the hitting hand of the work found, or unknown."""
    for candidate in candidates:
        if candidate.hitting is not Handedness.UNKNOWN:
            return candidate.hitting
    return Handedness.UNKNOWN


def what_was_seen(signals: Signals | None) -> str:
    """Return what a clip without serves shows, as a word of the table ``seen``."""
    if signals is None:
        return "nobody"
    duration = float(signals.time_s[-1] - signals.time_s[0])
    top = max(float(np.max(signals.wrist[side])) for side in SIDES)
    fastest = float(np.percentile(signals.activity, 98))
    travelled = float(np.percentile(signals.travel, 98) - np.percentile(signals.travel, 2))
    if top >= OVERHEAD:
        return "hand_overhead"
    if travelled > 2.0 and travelled / max(duration, 0.1) > 0.5:
        return "walking"
    if fastest > 6.0:
        return "low_swing"
    if fastest > 1.2:
        return "small_movements"
    return "standing"


def _swings(signals: Signals, side: str) -> list[_Swing]:
    """Every time this hand passes overhead like a hitting hand."""
    other = SIDES[1 - SIDES.index(side)]
    hand, toss_hand = signals.wrist[side], signals.wrist[other]
    time, rise = signals.time_s, signals.rise[side]
    peaks, _ = find_peaks(np.concatenate([[-9.0], hand, [-9.0]]), prominence=0.35)
    found: list[_Swing] = []
    for peak in peaks - 1:
        t = float(time[peak])
        if hand[peak] < OVERHEAD_SWING:
            continue
        up = float(np.max(rise[(time > t - 0.5) & (time <= t)], initial=0.0))
        down = float(-np.min(rise[(time > t) & (time < t + 0.6)], initial=0.0))
        if up < MIN_RISE or down < MIN_RISE:
            continue
        window = (time >= t - TOSS_BEFORE_S[1]) & (time <= t - TOSS_BEFORE_S[0])
        before = (toss_hand - toss_hand[peak] >= TOSS_DROP) & (hand < hand[peak] - RISEN)
        toss = _last_raise(toss_hand, window & before)
        if hand[peak] < OVERHEAD and (toss is None or up + down < MIN_SWING):
            continue
        score = float(up + down) * (0.5 if toss is None else 2.0)
        found.append(_Swing(side, int(peak), toss, up, down, score))
    return found


def _last_raise(hand: FloatArray, window: BoolArray) -> int | None:
    """Return the last overhead maximum of a hand in a window.

    A window need not be one stretch: from behind, where networks take one raised hand for the
    other, only rows count in which the hitting hand is still low.
    """
    rows = np.flatnonzero(window & (hand >= OVERHEAD))
    if rows.size == 0:
        return None
    breaks = np.flatnonzero(np.diff(rows) > 1)
    run = rows[breaks[-1] + 1 :] if breaks.size else rows
    return int(run[np.argmax(hand[run])])


def _hitting_side(swings: Sequence[_Swing], handedness: Handedness) -> str | None:
    if handedness is not Handedness.UNKNOWN:
        return handedness.value
    if not swings:
        return None
    total = {side: sum(s.score for s in swings if s.side == side) for side in SIDES}
    return max(SIDES, key=lambda side: total[side])


def _candidates(signals: Signals, swings: Sequence[_Swing]) -> list[FoundWork]:
    tossed = [swing for swing in swings if swing.toss is not None]
    lone = [
        swing
        for swing in swings
        if swing.toss is None
        and swing.rise >= SERVE_RISE
        and _thrown(signals, swing)
        and all(abs(signals.time_s[swing.peak] - signals.time_s[s.peak]) > 1.5 for s in tossed)
    ]
    found: list[FoundWork] = []
    free_from = 0
    for swing in sorted([*tossed, *lone], key=lambda s: s.peak):
        if swing.peak <= free_from:
            continue
        likely = _likely(signals, swing)
        kind = RepetitionKind.THROW if likely is None else kind_by(likely)
        start, stop = _window(signals, swing, kind, free_from)
        found.append(
            FoundWork(
                kind=kind,
                hitting=Handedness(swing.side),
                start=int(signals.index[start]),
                stop=int(signals.index[stop - 1]) + 1,
                contact_s=float(signals.time_s[swing.peak]),
                confidence=_confidence(swing),
                serve_probability=likely,
            )
        )
        free_from = stop
    return found


def _thrown(signals: Signals, swing: _Swing) -> bool:
    """Return whether the elbow straightens from a bent position over several overhead frames."""
    time, elbow = signals.time_s, signals.elbow[swing.side]
    t = float(time[swing.peak])
    before = elbow[(time >= t - 0.4) & (time < t - 0.05)]
    around = (time >= t - 0.08) & (time <= t + 0.08)
    overhead = around & (signals.wrist[swing.side] >= OVERHEAD_SWING)
    return bool(
        before.size
        and np.max(before) >= COCKED_DEG
        and np.min(elbow[around]) <= EXTENDED_DEG
        and int(overhead.sum()) >= 3
    )


def _likely(signals: Signals, swing: _Swing) -> float | None:
    """Return how likely a swing is a serve rather than a shadow; None without a raised hand."""
    if swing.toss is None:
        return None
    lag = float(signals.time_s[swing.peak] - signals.time_s[swing.toss])
    return serve_probability(swing.rise, swing.fall, lag)


def _confidence(swing: _Swing) -> float:
    evidence = min(swing.rise / 9.0, 1.0) * 0.5 + min(swing.fall / 14.0, 1.0) * 0.5
    return float(0.5 + 0.49 * evidence) if swing.toss is not None else 0.5


def _window(
    signals: Signals, swing: _Swing, kind: RepetitionKind, free_from: int
) -> tuple[int, int]:
    """Return the samples from a little before the last still stance to the finish."""
    time = signals.time_s
    first = _toss_starts(signals, swing)
    longest = BEFORE_SLOW_S if kind is RepetitionKind.SHADOW else BEFORE_S
    earliest = max(free_from, int(np.searchsorted(time, time[swing.peak] - longest)))
    still = np.flatnonzero(_stance(signals, earliest, first))
    begin = earliest + int(still[-1]) if still.size else earliest
    start = max(free_from, int(np.searchsorted(time, time[begin] - 0.4)))
    stretch = 2.0 if kind is RepetitionKind.SHADOW else 1.0
    stop = int(np.searchsorted(time, time[swing.peak] + AFTER_S * stretch, side="right"))
    return start, max(stop, swing.peak + 1)


def _stance(signals: Signals, earliest: int, first: int) -> BoolArray:
    """Return where the server stands still before the swing; if never for long, where at all."""
    still = signals.activity[earliest:first] < STILL
    long = lasting(still, signals.time_s[earliest:first], STANCE_S)
    return long if long.any() else still


def _toss_starts(signals: Signals, swing: _Swing) -> int:
    """Return the last sample before the swing at which the tossing hand is below the shoulder."""
    if swing.toss is None:
        return swing.peak
    other = SIDES[1 - SIDES.index(swing.side)]
    low = np.flatnonzero(signals.wrist[other][: swing.toss] < 0.0)
    return int(low[-1]) if low.size else swing.toss


def _holds(
    signals: Signals, taken: Sequence[FoundWork], hitting: Handedness, *, asked: bool = False
) -> list[FoundWork]:
    """Still stretches in the loaded posture: a hand up, and knees bent or hips below standing."""
    standing = float(np.percentile(signals.hips, 95))
    lowered = (standing - signals.hips >= HOLD_DROP) | (signals.knees >= HOLD_KNEES_DEG)
    arm_up = np.max(np.stack([signals.wrist[s] for s in SIDES]), axis=0) >= OVERHEAD
    quiet = signals.drift < HOLD_STILL
    busy = np.zeros(len(signals), dtype=np.bool_)
    for candidate in taken:
        busy |= (signals.index >= candidate.start) & (signals.index < candidate.stop)
    loaded = lowered | arm_up if asked else lowered & arm_up
    rows = np.flatnonzero(loaded & quiet & ~busy)
    found: list[FoundWork] = []
    gaps = np.flatnonzero(np.diff(signals.time_s[rows]) > 0.25) + 1
    for run in np.split(rows, gaps):
        if run.size < 4 or signals.time_s[run[-1]] - signals.time_s[run[0]] < HOLD_MIN_S:
            continue
        middle = run[run.size // 2]
        raised = max(SIDES, key=lambda side: float(signals.wrist[side][middle]))
        hand = hitting
        if hand is Handedness.UNKNOWN:
            hand = Handedness(SIDES[1 - SIDES.index(raised)])
        found.append(
            FoundWork(
                kind=RepetitionKind.HOLD,
                hitting=hand,
                start=int(signals.index[run[0]]),
                stop=int(signals.index[run[-1]]) + 1,
                contact_s=float(signals.time_s[middle]),
                confidence=0.8,
            )
        )
    return found
