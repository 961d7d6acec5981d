"""Angles of points and lines. Degrees throughout; arrays broadcast over leading axes."""

from __future__ import annotations

import numpy as np

from models.contract.tracks import FloatArray


def wrap180(angle_deg: FloatArray | float) -> FloatArray:
    """Return the angle in [-180, 180), degrees."""
    return np.asarray((np.asarray(angle_deg, dtype=np.float64) + 180.0) % 360.0 - 180.0)


def norm(vector: FloatArray) -> FloatArray:
    """Return the Euclidean length over the last axis."""
    return np.asarray(np.sqrt(np.sum(np.square(vector), axis=-1)))


def angle_between(u: FloatArray, v: FloatArray) -> FloatArray:
    """Return the unsigned angle between two vectors, 0..180 deg, shape (..., d) -> (...).

    Computed as ``2 atan2(|a - b|, |a + b|)`` on unit vectors, which stays exact near 0 and 180
    where the arc cosine does not. NaN for a vector of zero length.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        a = u / norm(u)[..., None]
        b = v / norm(v)[..., None]
    return np.asarray(np.degrees(2.0 * np.arctan2(norm(a - b), norm(a + b))))


def flexion(proximal: FloatArray, joint: FloatArray, distal: FloatArray) -> FloatArray:
    """Return joint flexion: 180 deg minus the included angle; 0 = straight, + = bent.

    Works in the plane or in space, in any unit of length.
    """
    return np.asarray(180.0 - angle_between(proximal - joint, distal - joint))


def inclination(lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Return the unsigned angle of the vector lower -> upper from the vertical (z up), deg."""
    d = upper - lower
    return np.asarray(np.degrees(np.arctan2(np.hypot(d[..., 0], d[..., 1]), d[..., 2])))


def elevation(start: FloatArray, end: FloatArray) -> FloatArray:
    """Return the angle of the vector start -> end above the horizontal, -90..90 deg."""
    d = end - start
    return np.asarray(np.degrees(np.arctan2(d[..., 2], np.hypot(d[..., 0], d[..., 1]))))


def line_turn(rear: FloatArray, front: FloatArray) -> FloatArray:
    """Return the turn about the vertical of a rear -> front body line, degrees.

    Court frame (x toward the target, y left when facing it). 0 = line parallel to the baseline,
    chest to the net; 90 = side-on, the line points at the target; more = back turned to it.
    Undefined (noise) for a vertical line.
    """
    d = front - rear
    return np.asarray(np.degrees(np.arctan2(d[..., 0], d[..., 1])))


def separation(
    rear_hip: FloatArray,
    front_hip: FloatArray,
    rear_shoulder: FloatArray,
    front_shoulder: FloatArray,
) -> FloatArray:
    """Return shoulder turn minus pelvis turn, both on the horizontal plane, in [-180, 180).

    Positive = shoulders turned farther from the target than the pelvis.
    """
    return wrap180(line_turn(rear_shoulder, front_shoulder) - line_turn(rear_hip, front_hip))


def unwrap(angle_deg: FloatArray, axis: int = -1) -> FloatArray:
    """Return an angle series without 360 deg jumps along ``axis``."""
    return np.asarray(np.unwrap(angle_deg, period=360.0, axis=axis))
