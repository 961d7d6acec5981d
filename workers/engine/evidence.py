"""What a film gives besides joints, about one repetition: toss, things around it, sounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import LANDMARKS, counterpart
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, JointTrack
from workers.engine.ball import Things, Toss, find_toss, things_near
from workers.engine.geometry import norm
from workers.engine.proportions import POPULATION_STATURE_M
from workers.engine.toss_return import followed, in_flight, with_return
from workers.engine.witness import TORSO_SHARE

SOUND_M_S = 343.0
"""Speed of sound in air of 20 degrees, m/s (ISO 9613-1)."""
DISTANCE_SD = 0.3
"""Relative standard deviation of the camera's distance, which hangs on a field of view that is
guessed (working value)."""
UNKNOWN_DISTANCE_M = (9.0, 5.0)
"""Usual distance of a camera and its standard deviation, metres, where no camera was fitted."""
SYNC_SD_S = 0.008
"""Standard deviation of sound against picture in a film, and of the beginning of a sound, seconds
(working value; broadcasts can be off by far more, which the agreement with the rest tells)."""
FROM_HANDS = 0.13
"""Distance from both wrists, standing heights, over which a thing is no part of an arm that is
seen moving; a ball in the hand is nearer."""
AWAY_SHARE = 0.5
"""Least share of a toss that is so far from both wrists (working value)."""
STRUCK_WITHIN_S = 0.2
"""The ball is struck at most so long after the hitting wrist was seen highest, seconds (working
value)."""
MET_OVER = (0.2, 1.5)
"""The ball is met at such heights over the shoulders, standing heights: arm and racket reach 0.75
(perspective and a rough scale leave room)."""
OVER_SHOULDERS = 0.3
"""Least height of a toss over the shoulders, standing heights: the head's top is at 0.18."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for the times of a repetition besides joints.

    Attributes
    ----------
    toss : Toss or None
    things : Things or None
        In standing heights about the shoulders, v up; None where nobody looked.
    top : float
        Height of the picture's upper edge in the same frame.
    heard_s : ndarray, shape (M,)
        Sharp sounds near the repetition, at the microphone, seconds.
    heard_db : ndarray, shape (M,)
    delay_s, delay_sd_s : float
        The way of the sound to the microphone, taken to be with the camera.
    step_s : float
        Interval between frames that show something new, seconds.
    from_hand : float
        How far from the tossing wrist the toss is first seen, standing heights.
    """

    toss: Toss | None
    things: Things | None
    top: float
    heard_s: FloatArray
    heard_db: FloatArray
    delay_s: float
    delay_sd_s: float
    step_s: float
    from_hand: float = 0.0

    @property
    def tells_contact(self) -> bool:
        """Whether there is a toss or a sharp sound."""
        return self.toss is not None or len(self.heard_s) > 0


def evidence_of(
    track: JointTrack,
    window: tuple[int, int],
    motion: BodyMotion | None,
    *,
    left_handed: bool,
    seed: int = 0,
) -> Evidence | None:
    """Return the evidence about the repetition in some rows of a track; None without sightings.

    Without its ``motion``, body and camera are taken to be usual ones.
    """
    seen = track.sightings
    frame = _frame(track, window)
    if seen is None or frame is None:
        return None
    centre, px = frame
    start, stop = float(track.time_s[window[0]]), float(track.time_s[window[1] - 1])
    things = things_near(seen, start, stop, centre, px)
    wrists = _wrists(track, window, centre, px, things.time_s, left_handed)
    tall = (motion and motion.stature_m) or POPULATION_STATURE_M
    until = _struck_by(track, window, left_handed)
    apart = np.min(np.hypot(*(wrists - things.xy[:, None]).transpose(2, 0, 1)), axis=1)
    away = ~(apart <= FROM_HANDS)

    def completed(toss: Toss) -> Toss | None:
        if not _thrown_up(toss, things, away) or not _met(toss, until - STRUCK_WITHIN_S):
            return None
        return with_return(toss, things, tall, until)

    toss = find_toss(things, tall, seed, until_s=until, searched=away, completed=completed)
    if toss is not None:
        toss = followed(in_flight(toss, things, float(centre[1]) / px), things)
    distance, distance_sd = _distance(motion)
    apart_at_first = 0.0
    if toss is not None:
        begun = np.array([toss.seen_s[0]])
        wrist = _wrists(track, window, centre, px, begun, left_handed)[0, 0]
        apart_at_first = float(np.nan_to_num(np.hypot(*(toss.at(begun)[0] - wrist))))
    near = (seen.heard_s >= start) & (seen.heard_s <= stop + 0.3)
    steps = np.diff(things.looked_s)
    return Evidence(
        toss=toss,
        things=things,
        top=float(centre[1]) / px,
        heard_s=seen.heard_s[near],
        heard_db=seen.heard_db[near],
        delay_s=distance / SOUND_M_S,
        delay_sd_s=float(np.hypot(distance_sd / SOUND_M_S, SYNC_SD_S)),
        step_s=float(np.median(steps)) if steps.size else float(np.median(np.diff(track.time_s))),
        from_hand=apart_at_first,
    )


def _frame(track: JointTrack, window: tuple[int, int]) -> tuple[FloatArray, float] | None:
    """Return the middle of the shoulders and the standing height, pixels."""
    rows = track.xy_raw[slice(*window)]
    shoulders = rows[:, LANDMARKS.pair("shoulder")].mean(axis=1)
    torso = shoulders - rows[:, LANDMARKS.pair("hip")].mean(axis=1)
    lengths = norm(torso[np.isfinite(torso).all(axis=1)])
    if lengths.size == 0:
        return None
    px = float(np.percentile(lengths, 75)) / TORSO_SHARE
    return np.asarray(np.nanmedian(shoulders, axis=0)), px


def _struck_by(track: JointTrack, window: tuple[int, int], left_handed: bool) -> float:
    """Return until when the ball is struck, seconds: a while after the hitting wrist is highest."""
    index = LANDMARKS.index(counterpart("hitting_wrist", left_handed=left_handed))
    rows = track.xy[slice(*window), index, 1]
    if not np.isfinite(rows).any():
        return np.inf
    return float(track.time_s[window[0] + int(np.nanargmin(rows))]) + STRUCK_WITHIN_S


def _wrists(
    track: JointTrack,
    window: tuple[int, int],
    centre: FloatArray,
    px: float,
    time_s: FloatArray,
    left_handed: bool,
) -> FloatArray:
    """Return tossing and hitting wrist at some instants, shape (N, 2, 2), in the things' frame."""
    rows = slice(*window)
    out = np.empty((len(time_s), 2, 2))
    for i, name in enumerate(("tossing_wrist", "hitting_wrist")):
        index = LANDMARKS.index(counterpart(name, left_handed=left_handed))
        path = (track.xy[rows, index] - centre) / px * np.array([1.0, -1.0])
        good = np.isfinite(path).all(axis=1)
        for axis in range(2):
            out[:, i, axis] = (
                np.interp(time_s, track.time_s[rows][good], path[good, axis])
                if good.any()
                else np.nan
            )
    return out


def _thrown_up(toss: Toss, things: Things, away: BoolArray) -> bool:
    """Return whether a path is that of a ball, not of a hand: away from both, over the head."""
    on = _on_path(toss, things)
    high = float(np.max(things.xy[on, 1], initial=-1.0)) > OVER_SHOULDERS
    return bool(high and on.any() and np.mean(away[on]) >= AWAY_SHARE)


def _met(toss: Toss, highest_s: float) -> bool:
    """Return whether the racket can have met the ball: it is over the shoulders then."""
    if not np.isfinite(highest_s):
        return True
    about = highest_s + np.array([-STRUCK_WITHIN_S, STRUCK_WITHIN_S / 2.0])
    height = toss.at(about)[:, 1]
    return bool(np.max(height) > MET_OVER[0] and np.min(height) < MET_OVER[1])


def _on_path(toss: Toss, things: Things) -> BoolArray:
    near = np.hypot(*(things.xy - toss.at(things.time_s)).T) < things.tolerance
    return np.asarray(near & np.isin(things.time_s, toss.seen_s))


def _distance(motion: BodyMotion | None) -> tuple[float, float]:
    """Return the distance from the camera to the body and its standard deviation, metres."""
    if motion is None or motion.camera is None:
        return UNKNOWN_DISTANCE_M
    camera = motion.camera
    place = -camera.R.T @ camera.t
    middle = np.nanmedian(motion.joints.reshape(-1, 3), axis=0)
    distance = float(np.linalg.norm(place - middle))
    return distance, DISTANCE_SD * distance
