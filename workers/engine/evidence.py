"""What a film gives besides joints, about one repetition: toss, things around it, sounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import LANDMARKS, counterpart
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, JointTrack
from workers.engine.ball import Things, Toss, find_toss, things_near
from workers.engine.geometry import norm
from workers.engine.proportions import POPULATION_STATURE_M
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
    """

    toss: Toss | None
    things: Things | None
    top: float
    heard_s: FloatArray
    heard_db: FloatArray
    delay_s: float
    delay_sd_s: float
    step_s: float

    @property
    def tells_contact(self) -> bool:
        """Whether there is a toss or a sharp sound."""
        return self.toss is not None or len(self.heard_s) > 0


def evidence_of(
    track: JointTrack,
    window: tuple[int, int],
    motion: BodyMotion,
    *,
    left_handed: bool,
    seed: int = 0,
) -> Evidence | None:
    """Return the evidence about the repetition in some rows of a track; None without sightings."""
    seen = track.sightings
    frame = _frame(track, window)
    if seen is None or frame is None:
        return None
    centre, px = frame
    start, stop = float(track.time_s[window[0]]), float(track.time_s[window[1] - 1])
    things = things_near(seen, start, stop, centre, px)
    wrists = _wrists(track, window, centre, px, things.time_s, left_handed)
    toss = find_toss(things, motion.stature_m or POPULATION_STATURE_M, seed)
    if toss is not None and not _thrown_up(toss, things, wrists):
        toss = None
    distance, distance_sd = _distance(motion)
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


def _thrown_up(toss: Toss, things: Things, wrists: FloatArray) -> bool:
    """Return whether a path is that of a ball, not of a hand: away from both, over the head."""
    on = _on_path(toss, things)
    apart = np.min(np.hypot(*(wrists - things.xy[:, None]).transpose(2, 0, 1)), axis=1)
    away = apart[on] > FROM_HANDS
    high = float(np.max(things.xy[on, 1], initial=-1.0)) > OVER_SHOULDERS
    return bool(high and on.any() and np.mean(away) >= AWAY_SHARE)


def _on_path(toss: Toss, things: Things) -> BoolArray:
    near = np.hypot(*(things.xy - toss.at(things.time_s)).T) < things.tolerance
    return np.asarray(near & np.isin(things.time_s, toss.seen_s))


def _distance(motion: BodyMotion) -> tuple[float, float]:
    """Return the distance from the camera to the body and its standard deviation, metres."""
    if motion.camera is None:
        return UNKNOWN_DISTANCE_M
    camera = motion.camera
    place = -camera.R.T @ camera.t
    middle = np.nanmedian(motion.joints.reshape(-1, 3), axis=0)
    distance = float(np.linalg.norm(place - middle))
    return distance, DISTANCE_SD * distance
