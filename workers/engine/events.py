"""The instants of one repetition: in the body's motion, and where a film shows it by the ball.

Trophy position and loading are looked for where they are defined, on the curves of knees and
pelvis. The others are tied to a feature of the motion that can be seen without racket or ball, plus
a fixed lag between that feature and the event. Lags are for full-speed serves and stretch with the
duration of the swing, so that slow shadow swings keep their order. The ball's flight and the sound
of its being struck tell contact and release themselves. What a film does not show, since it begins
too late or ends too early, is said to be missing and never put in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from models.contract.note_codes import NoteCode
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.bend import Bend, bend_of
from workers.engine.body_events import (
    FILM_SET_UP_LAG_S,
    SET_UP_LAG_S,
    hand_contact,
    hand_hung,
    paths_of,
    racket_lowest,
    stance_end,
    toss_release,
    wrist_rest,
)
from workers.engine.contact_time import contact_time, said
from workers.engine.curve_peak import peak
from workers.engine.evidence import Evidence
from workers.engine.release_time import release_time
from workers.engine.turning import Told
from workers.engine.witness import Witness, from_motion

IN_FLIGHT_S = 0.2
"""A toss that is seen within this of a film's start was let go before it, if no arm tells when,
seconds (working value)."""
LONGEST_SWING_S = 0.6
"""Trophy to highest wrist in a full-speed serve is shorter (rendered serves 0.29 to 0.52 s);
longer swings stretch the lags below in proportion."""
LONGEST_DRIVE_S, LONGEST_TOSS_S = 0.8, 1.5
"""A full-speed serve takes less from loading, and from release, to its highest wrist."""
USUALLY_BENT_S = (0.40, 0.25)
"""From the deepest bend to the highest wrist in full-speed serves, mean and standard deviation,
seconds: drawn serves of four generators 0.37 to 0.44, each by 0.06 to 0.18."""
BEFORE_TOP_S = 0.1
"""Knees and hips are up again so long before the wrist is highest, seconds (working value)."""
EDGE_S = 0.02
"""An event nearer to the first or last frame may lie outside the film, seconds or one frame."""
NEAR_CONTACT_S = 0.12
"""The learned lift is seldom off by more (50 rendered films it was not trained on: contact by
0.03 s at most)."""
LEARNED_SHARE = 0.5
"""How much the lift counts where it and the motion agree (least errors on the same films)."""
AGREE_S = 0.1
"""Events seen and learned that are farther apart are two different things."""
STILL_DOUBT = (0.6, 1.6)
"""Other thresholds, as shares: where a slow start is crossed at other times, it is that unsure."""


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


def locate(
    motion: BodyMotion,
    kind: RepetitionKind,
    witness: Witness | None = None,
    learned: Mapping[EventName, float] | None = None,
    evidence: Evidence | None = None,
    film: tuple[float, float] | None = None,
    bend: Bend | None = None,
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
    bend : Bend, optional
        Knees and pelvis where they are known better than in the motion.

    Returns
    -------
    Located
        Times lie within the motion.
    """
    if kind is RepetitionKind.HOLD:
        return Located(_hold(motion))
    whole = (float(motion.time_s[0]), float(motion.time_s[-1])) if film is None else film
    paths = paths_of(motion, from_motion(motion) if witness is None else witness)
    found: dict[EventName, float] = {}
    near = learned if learned and kind is RepetitionKind.SERVE else {}
    highest = paths.extreme(paths.hand, paths.around(near.get(EventName.CONTACT), NEAR_CONTACT_S))
    if highest is None:
        return Located({})
    edge = max(EDGE_S, paths.step_s)
    begun = float(paths.time_s[0]) > whole[0] + edge or hand_hung(paths, highest)
    told: dict[EventName, Told] = {}
    missing: dict[EventName, NoteCode] = {}
    release = toss_release(paths, highest) if begun else None
    if evidence is not None and evidence.toss is not None and kind is RepetitionKind.SERVE:
        arm = None if release is None else Told(release, _LAG_SD[EventName.RELEASE], "hand")
        seen = release_time(evidence, arm)
        release = None if seen is None else seen.time_s
        if seen is not None:
            told[EventName.RELEASE] = seen
        elif float(evidence.toss.seen_s[0]) <= whole[0] + IN_FLIGHT_S:
            missing[EventName.RELEASE] = NoteCode.FILM_STARTS_LATE
    bent = bend_of(motion) if bend is None else bend
    window = _window(float(paths.time_s[0]), release, highest, kind)
    usual = None
    if kind is RepetitionKind.SERVE:
        usual = (highest - USUALLY_BENT_S[0], USUALLY_BENT_S[1])
    for event, curve, source in (
        (EventName.LOADING, bent.depth, "pelvis"),
        (EventName.TROPHY, bent.knees, "knees"),
    ):
        top = peak(curve.time_s, curve.mean, curve.sd, window, source, usual)
        if top is not None:
            told[event] = top
            found[event] = top.time_s
    trophy = found.get(EventName.TROPHY)
    # a level bend says little of how long the swing takes
    risen = [one.time_s + one.sd_s for event, one in told.items() if event in _BENT]
    stretch = (highest - max(risen)) / LONGEST_SWING_S if risen else 1.0
    stretch = min(max(stretch, 1.0), 8.0)
    contact = hand_contact(paths, highest, stretch, use_elbow=witness is None)
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
        low = racket_lowest(paths, contact, stretch)
        if low is not None:
            learned_low = near.get(EventName.RACKET_LOW)
            found[EventName.RACKET_LOW] = _joined(low, learned_low, LEARNED_SHARE)
    if release is not None and kind is not RepetitionKind.THROW:
        found[EventName.RELEASE] = release
    elif not begun:
        missing[EventName.RELEASE] = NoteCode.FILM_STARTS_LATE
    before = min(t for t in (found.get(EventName.RELEASE), trophy, contact) if t is not None)
    lag = SET_UP_LAG_S if witness is None else FILM_SET_UP_LAG_S
    set_up = stance_end(paths, before, lag_s=lag) if begun else None
    if set_up is not None:
        found[EventName.SET_UP] = set_up
    elif float(paths.time_s[0]) <= whole[0] + edge:
        missing[EventName.SET_UP] = NoteCode.FILM_STARTS_LATE
    finish = wrist_rest(paths, contact, stretch)
    if finish is not None:
        found[EventName.FINISH] = finish
    elif float(paths.time_s[-1]) >= whole[1] - edge:
        missing[EventName.FINISH] = NoteCode.FILM_ENDS_EARLY
    instants = _instants(motion, found, told, stretch)
    if set_up is not None:
        others = [stance_end(paths, before, share, lag) for share in STILL_DOUBT]
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


_BENT = (EventName.LOADING, EventName.TROPHY)


def _window(
    begin: float, release: float | None, highest: float, kind: RepetitionKind
) -> tuple[float, float]:
    """Return between which times knees and hips are lowest, seconds."""
    start = begin if release is None else release
    if kind is RepetitionKind.SERVE:
        longest = LONGEST_DRIVE_S if release is None else LONGEST_TOSS_S
        start = max(start, highest - longest)
    return start, highest - BEFORE_TOP_S


def _joined(seen: float, learned: float | None, share: float) -> float:
    """Return the mean of an event seen and learned, whose errors are unlike, if they agree."""
    if learned is None or abs(learned - seen) > AGREE_S:
        return seen
    return (1.0 - share) * seen + share * learned


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
