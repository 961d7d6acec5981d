"""A learned lift: from the picture's joints over half a second to the body in space.

A small network of dense layers, trained on rendered motion whose joints are known (see
DEVELOPERS.md for the command), reads the joints of the picture at seven instants around a moment
and answers where the joints are in the levelled camera frame. It knows how bodies move in a
serve, so it does not lose the sign of a depth; it does not know the person's own lengths, which
the kinematic fit does. The engine takes for each value the method that was found better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.skeleton import PICTURE_ROWS, canonical
from models.contract.tracks import BodyMotion, FloatArray, IntArray, JointTrack
from models.contract.vocabulary import EventName, Handedness
from workers.engine.smoothing import local_fit

METHOD = "learned_lift"
TIMED = (EventName.LOADING, EventName.TROPHY, EventName.RACKET_LOW, EventName.CONTACT)
"""Events the network times: each frame says how far off they are, within `CLOCK_S`."""
CLOCK_S = 0.2
"""Longest time that a frame's answer spans, seconds; trained with this value."""
BEFORE_CONTACT_S = {EventName.TROPHY: (0.15, 0.7), EventName.RACKET_LOW: (0.05, 0.22)}
"""Usual times before contact in full-speed serves, with room to spare (working values)."""
SLOWEST_FRAME_S = 1.0 / 27.0
"""With longer frame intervals, seconds, the answers about events are not used (working value)."""
LAGS_S = (-0.25, -0.12, -0.05, 0.0, 0.05, 0.12, 0.25)
"""Instants that are read, relative to the moment that is answered."""
STANDING_S = 0.35
"""Start of the window from which the size of the person in the picture is taken."""
EAR_TO_ANKLE = 0.87
"""Height of the ears over the ankles in standing heights, standing as before a serve."""
IN_PLANE_SD, DEPTH_SD = 0.009, 0.018
"""Standard deviation of a joint about its place, standing heights (rendered films)."""
_SMOOTH_S, _SMOOTH_WORLD_S = 0.02, 0.05
"""Half widths of the smoothing of picture and network joints, seconds; trained with these
values."""
HEADING_SD = float(np.radians(4.5))
"""Standard deviation of the target's direction (26 rendered films not trained on)."""
_TARGET = slice(3 * len(BODY), 3 * len(BODY) + 2)
_CLOCKS = slice(_TARGET.stop, _TARGET.stop + len(TIMED))
_CLOCK_TRUST = 0.5
"""Share of `CLOCK_S` within which an answer counts (working value)."""
SHORTEST_FRAMES = 8
"""Fewest frames from which a body is made, by the lift and by the fit (working value)."""


@dataclass(frozen=True, slots=True)
class Lifted:
    """Joints of one stretch of film about the mid-hip, in the levelled frame.

    The levelled frame: x right, y away from the camera, z up, of a right-hander (left-handers
    mirrored).

    Attributes
    ----------
    rows : ndarray of int, shape (T,)
        Rows of the track.
    time_s : ndarray, shape (T,)
    relative : ndarray, shape (T, 21, 3)
        Standing heights.
    hips : ndarray, shape (T, 2)
        Middle of the hips in the picture, v up, standing heights.
    heading : float
        Direction of the target, rad from x.
    mirrored : bool
    events : mapping of EventName to float
        When the network thinks the `TIMED` events of a serve are, seconds.
    """

    rows: IntArray
    time_s: FloatArray
    relative: FloatArray
    hips: FloatArray
    heading: float
    mirrored: bool
    events: Mapping[EventName, float] = field(default_factory=dict)


def lift_track(
    track: JointTrack,
    window: tuple[int, int],
    handedness: Handedness,
    network: Callable[[FloatArray], FloatArray],
) -> Lifted | None:
    """Lift a stretch of film, or return None where joints are missing.

    Parameters
    ----------
    track : JointTrack
    window : (start, stop)
        Half-open rows; begins with the still stance.
    handedness : Handedness
        ``LEFT`` mirrors the picture first.
    network : callable
        Features (T, 399) to answers (T, 69).
    """
    rows = np.arange(*window)
    pixels, world = track.xy_raw[rows][:, PICTURE_ROWS], track.world[rows][:, PICTURE_ROWS]
    seen = np.isfinite(pixels).all(axis=(1, 2)) & np.isfinite(world).all(axis=(1, 2))
    if int(seen.sum()) < SHORTEST_FRAMES:
        return None
    rows = rows[seen]
    time = np.asarray(track.time_s[rows], dtype=np.float64)
    mirrored = handedness is Handedness.LEFT
    plane, space = upright(pixels[seen], world[seen], mirrored)
    tall = stature_px(time, plane)
    if tall <= 0.0:
        return None
    read, place = features(time, plane, space)
    answer = network(read)
    relative = answer[:, : 3 * len(BODY)].reshape(-1, len(BODY), 3)
    # the network answers how far the picture's own place is off
    relative[..., [0, 2]] += place
    mean = answer[:, _TARGET].mean(axis=0)
    return Lifted(
        rows=rows,
        time_s=time,
        relative=relative,
        hips=BODY.middle(plane, "hip") / tall,
        heading=float(np.arctan2(mean[1], mean[0])),
        mirrored=mirrored,
        events=_timed(time, answer[:, _CLOCKS]),
    )


def lifted_body(
    track: JointTrack, lifted: Lifted, *, stature_m: float, heading: float | None = None
) -> BodyMotion:
    """Return the lifted body in the canonical court frame.

    Parameters
    ----------
    track : JointTrack
    lifted : Lifted
    stature_m : float
    heading : float, optional
        Direction of the target in the levelled frame, rad, where known better (the fit).
    """
    angle = lifted.heading if heading is None else heading
    level = (lifted.relative + _root(lifted)[:, None]) * stature_m
    c, s = np.cos(angle), np.sin(angle)
    court = level @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    origin = court[: max(3, len(court) // 10)][:, BODY.pair("ankle")].mean(axis=(0, 1))
    spread = np.array(
        [
            np.hypot(IN_PLANE_SD * c, DEPTH_SD * s),
            np.hypot(IN_PLANE_SD * s, DEPTH_SD * c),
            IN_PLANE_SD,
        ]
    )
    return BodyMotion(
        time_s=lifted.time_s,
        frame_index=np.asarray(track.frame_index[lifted.rows]),
        joints=court - origin,
        sd=np.broadcast_to(spread * stature_m, court.shape).copy(),
        mirrored=lifted.mirrored,
        stature_m=stature_m,
        method=METHOD,
    )


def upright(pixels: FloatArray, world: FloatArray, mirrored: bool) -> tuple[FloatArray, FloatArray]:
    """Return the canonical body in pixels with v up, and in 3D as x right, y away, z up.

    Parameters
    ----------
    pixels : ndarray, shape (T, 21, 2)
        Order of ``ANATOMICAL_BODY``.
    world : ndarray, shape (T, 21, 3)
        The same; camera axes: x right, y down, z away.
    mirrored : bool
        True for a left-hander.
    """
    plane = pixels * np.array([1.0, -1.0])
    space = world[..., [0, 2, 1]] * np.array([1.0, 1.0, -1.0])
    return (
        canonical(plane, left_handed=mirrored, axis=0),
        canonical(space, left_handed=mirrored, axis=0),
    )


def stature_px(time_s: FloatArray, plane: FloatArray) -> float:
    """Return the person's standing height in pixels, from the first still frames.

    Parameters
    ----------
    plane : ndarray, shape (T, 21, 2)
        Pixels, v up; or (T, 21, 3), metres, z up.
    """
    still = time_s <= time_s[0] + STANDING_S
    ears = BODY.middle(plane[still], "ear")[:, -1]
    ankles = BODY.middle(plane[still], "ankle")[:, -1]
    return float(np.median(ears - ankles)) / EAR_TO_ANKLE


def features(
    time_s: FloatArray, plane: FloatArray, world: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what the network reads, (T, 399), and the joints of the picture it answers for.

    Seven instants of the picture's joints about the mid-hip, the standing posture (the person's
    own lengths), and the pose network's 3D; all in standing heights.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Begins with the still stance.
    plane : ndarray, shape (T, 21, 2)
        Pixels, v up, of a right-hander (left-handers mirrored).
    world : ndarray, shape (T, 21, 3)
        The pose network's own 3D: x right, y away, z up.

    Returns
    -------
    features : ndarray, shape (T, 399)
    place : ndarray, shape (T, 21, 2)
        Smoothed joints about the mid-hip.
    """
    tall = max(stature_px(time_s, plane), 1e-6)
    place = _about_hips(time_s, plane / tall, _SMOOTH_S)
    high = max(stature_px(time_s, world), 1e-6)
    space = _about_hips(time_s, world / high, _SMOOTH_WORLD_S)
    flat = place.reshape(len(time_s), -1)
    lagged = [_at(time_s, flat, time_s + lag) for lag in LAGS_S]
    still = np.median(flat[time_s <= time_s[0] + STANDING_S], axis=0)
    standing = np.broadcast_to(still, flat.shape)
    read = np.concatenate([*lagged, standing, space.reshape(len(time_s), -1)], axis=1)
    return read, place


def _timed(time_s: FloatArray, clocks: FloatArray) -> dict[EventName, float]:
    """Return what the frames near an event agree on: the mean of what each says, nearest most.

    Nothing where frames are too far apart, or where the answers are no serve's: both happen in
    films unlike those that it learned from.
    """
    if float(np.median(np.diff(time_s))) > SLOWEST_FRAME_S:
        return {}
    found = {}
    for event, clock in zip(TIMED, clocks.T, strict=True):
        weight = np.maximum(_CLOCK_TRUST - np.abs(clock), 0.0) * np.gradient(time_s)
        if weight.sum() > 0.0:
            found[event] = float(np.average(time_s + CLOCK_S * clock, weights=weight))
    return found if is_serve(found) else {}


def is_serve(found: Mapping[EventName, float]) -> bool:
    """Return whether times of the `TIMED` events, seconds, could be those of a serve."""
    contact = found.get(EventName.CONTACT, np.nan)
    return all(
        low <= contact - found.get(event, np.nan) <= high
        for event, (low, high) in BEFORE_CONTACT_S.items()
    )


def _about_hips(time_s: FloatArray, points: FloatArray, window_s: float) -> FloatArray:
    hips = BODY.middle(points, "hip")[:, None]
    smooth = local_fit(time_s, (points - hips).transpose(1, 0, 2), window_s)[0]
    return np.asarray(smooth.transpose(1, 0, 2))


def _at(time_s: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """Linear interpolation of (T, D) at instants, held at the ends."""
    t = np.clip(when, time_s[0], time_s[-1])
    i = np.clip(np.searchsorted(time_s, t) - 1, 0, len(time_s) - 2)
    share = ((t - time_s[i]) / (time_s[i + 1] - time_s[i]))[:, None]
    return np.asarray(series[i] * (1.0 - share) + series[i + 1] * share)


def _root(lifted: Lifted) -> FloatArray:
    """Return the path of the mid-hip, standing heights: picture plane, and depth by the feet.

    The front foot is taken to stay at its depth, which holds until the drive lifts it.
    """
    depth = -BODY.at(lifted.relative, "front_ankle")[:, 1]
    return np.stack([lifted.hips[:, 0], depth, lifted.hips[:, 1]], axis=1)
