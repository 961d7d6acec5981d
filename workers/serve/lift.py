"""A learned lift: from the picture's joints over half a second to the body in space.

A small network of dense layers, trained on rendered motion whose joints are known (see
DEVELOPERS.md for the command), reads the joints of the picture at seven instants around a moment
and answers where the joints are in the levelled camera frame. It knows how bodies move in a
serve, so it does not lose the sign of a depth; it does not know the person's own lengths, which
the kinematic fit does. The engine takes for each value the method that was found better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import BODY_JOINTS, LANDMARKS, Handedness
from workers.serve.canonical import SWAP
from workers.serve.lift_weights import LAYERS, MEAN, SCALE
from workers.serve.smoothing import local_fit

METHOD = "learned_lift"
LAGS_S = (-0.25, -0.12, -0.05, 0.0, 0.05, 0.12, 0.25)
"""Instants that are read, relative to the moment that is answered."""
STANDING_S = 0.35
"""Start of the window from which the size of the person in the picture is taken."""
EAR_TO_ANKLE = 0.87
"""Height of the ears over the ankles in standing heights, standing as before a serve."""
IN_PLANE_SD, DEPTH_SD = 0.009, 0.018
"""Standard deviation of a joint about its place, standing heights (rendered films)."""
_SMOOTH_S = 0.02
_ALIAS = {"left_toe": "left_foot_index", "right_toe": "right_foot_index"}
_ROWS = [LANDMARKS.index(_ALIAS.get(name, name)) for name in BODY_JOINTS]
_INDEX = {name: i for i, name in enumerate(BODY_JOINTS)}


@dataclass(frozen=True, slots=True)
class Lifted:
    """Joints about the mid-hip in the levelled frame (x right, y away, z up), and the target.

    Attributes
    ----------
    relative : ndarray, shape (T, 21, 3)
        Standing heights.
    heading : float
        Direction of the target in the levelled frame, rad from x.
    heading_sd : float
        Radians.
    """

    relative: FloatArray
    heading: float
    heading_sd: float


def lifted_body(
    track: JointTrack,
    window: tuple[int, int],
    *,
    handedness: Handedness,
    stature_m: float,
    heading: float | None = None,
) -> BodyMotion | None:
    """Return the lifted body in the canonical court frame, or None where joints are missing.

    Parameters
    ----------
    track : JointTrack
    window : (start, stop)
        Half-open rows; begins with the still stance.
    handedness : Handedness
        ``LEFT`` mirrors the picture first.
    stature_m : float
    heading : float, optional
        Direction of the target in the levelled frame, rad, where known better (the fit).
    """
    rows = np.arange(*window)
    pixels = track.xy_raw[rows][:, _ROWS]
    seen = np.isfinite(pixels).all(axis=(1, 2))
    if int(seen.sum()) < 8:
        return None
    rows, pixels = rows[seen], pixels[seen]
    time = np.asarray(track.time_s[rows], dtype=np.float64)
    mirrored = handedness is Handedness.LEFT
    plane = pixels * np.array([1.0, -1.0])
    if mirrored:
        plane = (plane * np.array([-1.0, 1.0]))[:, SWAP]
    tall = stature_px(time, plane)
    found = lift(time, plane, tall)
    angle = found.heading if heading is None else heading
    root = _root(found.relative, plane / tall)
    level = (found.relative + root[:, None]) * stature_m
    c, s = np.cos(angle), np.sin(angle)
    court = level @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    ankles = [_INDEX["left_ankle"], _INDEX["right_ankle"]]
    origin = court[: max(3, len(court) // 10)][:, ankles].mean(axis=(0, 1))
    spread = np.array(
        [
            np.hypot(IN_PLANE_SD * c, DEPTH_SD * s),
            np.hypot(IN_PLANE_SD * s, DEPTH_SD * c),
            IN_PLANE_SD,
        ]
    )
    return BodyMotion(
        time_s=time,
        frame_index=np.asarray(track.frame_index[rows]),
        joints=court - origin,
        sd=np.broadcast_to(spread * stature_m, court.shape).copy(),
        mirrored=mirrored,
        stature_m=stature_m,
        method=METHOD,
    )


def stature_px(time_s: FloatArray, plane: FloatArray) -> float:
    """Return the person's standing height in pixels, from the first still frames.

    Parameters
    ----------
    plane : ndarray, shape (T, 21, 2)
        Pixels, v up.
    """
    still = time_s <= time_s[0] + STANDING_S
    ears = plane[still][:, [_INDEX["left_ear"], _INDEX["right_ear"]], 1].mean(axis=1)
    ankles = plane[still][:, [_INDEX["left_ankle"], _INDEX["right_ankle"]], 1].mean(axis=1)
    return max(float(np.median(ears - ankles)) / EAR_TO_ANKLE, 1.0)


def lift(time_s: FloatArray, plane: FloatArray, tall: float) -> Lifted:
    """Run the network.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    plane : ndarray, shape (T, 21, 2)
        Pixels, v up, of a right-hander (left-handers mirrored).
    tall : float
        Standing height, pixels.
    """
    hips = plane[:, [_INDEX["left_hip"], _INDEX["right_hip"]]].mean(axis=1, keepdims=True)
    place = local_fit(time_s, ((plane - hips) / tall).transpose(1, 0, 2), _SMOOTH_S)[0]
    flat = place.transpose(1, 0, 2).reshape(len(time_s), -1)
    features = np.concatenate([_at(time_s, flat, time_s + lag) for lag in LAGS_S], axis=1)
    answer = (features - MEAN) / SCALE
    for number, (weight, bias) in enumerate(LAYERS):
        answer = answer @ weight + bias
        if number < len(LAYERS) - 1:
            answer = answer / (1.0 + np.exp(-np.clip(answer, -60.0, 60.0)))
    relative = answer[:, : 3 * len(BODY_JOINTS)].reshape(-1, len(BODY_JOINTS), 3)
    # the network answers how far the picture's own place is off
    relative[..., [0, 2]] += place.transpose(1, 0, 2)
    mean = answer[:, -2:].mean(axis=0)
    angles = np.arctan2(answer[:, -1], answer[:, -2]) - np.arctan2(mean[1], mean[0])
    scatter = float(np.std((angles + np.pi) % (2 * np.pi) - np.pi))
    return Lifted(relative, float(np.arctan2(mean[1], mean[0])), max(scatter, 0.08))


def _at(time_s: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """Linear interpolation of (T, D) at instants, held at the ends."""
    t = np.clip(when, time_s[0], time_s[-1])
    i = np.clip(np.searchsorted(time_s, t) - 1, 0, len(time_s) - 2)
    share = ((t - time_s[i]) / (time_s[i + 1] - time_s[i]))[:, None]
    return np.asarray(series[i] * (1.0 - share) + series[i + 1] * share)


def _root(relative: FloatArray, plane: FloatArray) -> FloatArray:
    """Return the path of the mid-hip, standing heights: picture plane, and depth by the feet.

    The front foot is taken to stay at its depth, which holds until the drive lifts it.
    """
    hips = plane[:, [_INDEX["left_hip"], _INDEX["right_hip"]]].mean(axis=1)
    depth = -relative[:, _INDEX["left_ankle"], 1]
    return np.stack([hips[:, 0], depth, hips[:, 1]], axis=1)
