"""Which stretches of a film are worth a close look, from a coarse track of all of it.

Whatever the engine measures has a hand over the shoulders: a toss, a swing, a throw, a hold. So a
stretch reaches from well before a hand goes up to well after it comes down; whether there is work
in it, and of which kind, is decided on the closely seen frames. Rather too much than too little:
a stretch too many costs time, one too few loses a serve.
"""

from __future__ import annotations

import numpy as np

from models.contract.tracks import BoolArray, JointTrack
from workers.engine.detect import AFTER_S, BEFORE_S, BEFORE_SLOW_S, STILL
from workers.engine.signals import Signals, from_track

RAISED = 0.15
"""Wrist over the mid-shoulder that counts as raised, torso lengths: far below what work asks for
(`detect.OVERHEAD_SWING`), as few frames a second cut off the top (working value)."""
BREAK_S = 0.6
"""A hand down for less than this belongs to the same stretch: between toss and swing."""
SLOW_S = 1.8
"""Hands raised for longer are a slow swing or a hold (rendered serves: 0.9 to 1.5 s)."""
QUIET_S = 0.35
"""Standing still for so long before the hands go up is the stance."""
LEAD_S = 0.7
"""The close look begins so long before the stance ends; the engine itself takes 0.4 s of it."""
TAIL_S = 0.5
"""... and ends so long after the finish."""

FAST_SHARE = 0.6
"""The body counts as fast from this share of its greatest speed while a hand is raised."""
SWING = 4.0
"""Greatest speed under which there is no swing, torso lengths per second: a hold, a slow shadow
swing, a hand that was raised for nothing (serves: 8 and more)."""

Stretch = tuple[float, float]


def worth_a_look(track: JointTrack) -> tuple[Stretch, ...]:
    """Return the stretches of a clip in which there may be work, seconds, in order, apart.

    Parameters
    ----------
    track : JointTrack
        The server's landmarks over the whole clip, some ten or more rows a second.

    Returns
    -------
    tuple of (from, to)
        Empty where no hand is ever raised. The whole clip where too little of a body is seen to
        tell.
    """
    signals = from_track(track)
    if signals is None:
        return ((float(track.time_s[0]), float(track.time_s[-1])),) if len(track) else ()
    found = [_around(signals, first, last) for first, last in _raised(signals)]
    return _apart(found)


def where_fast(track: JointTrack) -> tuple[Stretch, ...]:
    """Return where the body is fastest while a hand is raised: about the hit of a serve.

    Parameters
    ----------
    track : JointTrack
        As for `worth_a_look`.

    Returns
    -------
    tuple of (from, to)
        Seconds. Work without a swing is held whole, since nothing in it is slower than the rest;
        the whole clip where too little of a body is seen to tell.
    """
    signals = from_track(track)
    if signals is None:
        return ((float(track.time_s[0]), float(track.time_s[-1])),) if len(track) else ()
    found: list[Stretch] = []
    for first, last in _raised(signals):
        near = (signals.time_s >= first - BREAK_S) & (signals.time_s <= last + BREAK_S)
        speed = np.where(near, signals.activity, 0.0)
        top = float(np.max(speed))
        if top < SWING or last - first > SLOW_S:
            found.append(_around(signals, first, last))
            continue
        fast = signals.time_s[speed >= FAST_SHARE * top]
        found.append((float(fast[0]), float(fast[-1])))
    return _apart(found)


def _raised(signals: Signals) -> list[tuple[float, float]]:
    """Return when a hand is raised, from and to in seconds."""
    time = signals.time_s
    rows = np.flatnonzero(np.max(list(signals.wrist.values()), axis=0) >= RAISED)
    breaks = np.flatnonzero(np.diff(time[rows]) > BREAK_S) + 1
    return [
        (float(time[run[0]]), float(time[run[-1]])) for run in np.split(rows, breaks) if run.size
    ]


def _around(signals: Signals, first: float, last: float) -> Stretch:
    slow = last - first > SLOW_S
    earliest = first - (BEFORE_SLOW_S if slow else BEFORE_S)
    stance = _stance_ends(signals, earliest, first)
    begin = earliest - LEAD_S if stance is None else stance - LEAD_S
    return begin, last + AFTER_S * (2.0 if slow else 1.0) + TAIL_S


def _stance_ends(signals: Signals, earliest: float, first: float) -> float | None:
    """Return the end of the last still stance before the hands go up, seconds."""
    time = signals.time_s
    inside = (time >= earliest) & (time <= first)
    rows = np.flatnonzero(inside & _still(signals))
    breaks = np.flatnonzero(np.diff(rows) > 1) + 1
    stances = [
        float(time[run[-1]])
        for run in np.split(rows, breaks)
        if run.size and time[run[-1]] - time[run[0]] >= QUIET_S
    ]
    return stances[-1] if stances else None


def _still(signals: Signals) -> BoolArray:
    return np.asarray(signals.activity < STILL)


def _apart(found: list[Stretch]) -> tuple[Stretch, ...]:
    """Join stretches that touch."""
    joined: list[Stretch] = []
    for begin, end in sorted(found):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return tuple(joined)
