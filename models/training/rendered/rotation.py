"""Rotations used by the synthetic body, all vectorised over leading axes.

Frames: x towards the net, y to the left of someone facing the net, z up; a body segment's own
frame in the upright rest pose has x forward (chest), y left, z up. Angles are in degrees.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def unit(v: Array) -> Array:
    """Vectors (..., 3) scaled to length one."""
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def cross(a: Array, b: Array) -> Array:
    """Cross product of (..., 3) vectors; much faster than the general one on small arrays."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    out[..., 1] = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    out[..., 2] = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def rot_x(deg: Array) -> Array:
    """Rotation about x, (...,) degrees -> (..., 3, 3)."""
    return _about(deg, 1, 2)


def rot_y(deg: Array) -> Array:
    """Rotation about y: positive tips z towards x (forward lean)."""
    return _about(deg, 2, 0)


def rot_z(deg: Array) -> Array:
    """Rotation about z, counter-clockwise from above."""
    return _about(deg, 0, 1)


def _about(deg: Array, i: int, j: int) -> Array:
    a = np.radians(np.asarray(deg, dtype=np.float64))
    out = np.zeros((*a.shape, 3, 3))
    k = 3 - i - j
    out[..., k, k] = 1.0
    out[..., i, i] = np.cos(a)
    out[..., j, j] = np.cos(a)
    out[..., j, i] = np.sin(a)
    out[..., i, j] = -np.sin(a)
    return out


def turn_roll_pitch(turn: Array, roll: Array, pitch: Array) -> Array:
    """Segment frame from its turn (0 chest to the net, 90 chest to -y), roll (left side up), pitch.

    The frame's y axis (right to left) has exactly the given turn and elevation, whatever the pitch.
    """
    return rot_z(-turn) @ rot_x(roll) @ rot_y(pitch)


def frame_from_axis(down: Array, forward: Array) -> Array:
    """Frame (..., 3, 3) whose -z column is `down` and whose x column is `forward` made square to
    it.
    """
    z = -unit(down)
    x = unit(forward - np.sum(forward * z, axis=-1, keepdims=True) * z)
    return np.stack([x, cross(z, x), z], axis=-1)


def apply(rotation: Array, v: Array) -> Array:
    """Rotate vectors: (..., 3, 3) and (..., 3) -> (..., 3)."""
    return np.asarray(np.einsum("...ij,...j->...i", rotation, v))


def to_vector(rotation: Array) -> Array:
    """Rotation vector in radians of (..., 3, 3); angles must stay below 180 degrees."""
    skew = np.stack(
        [
            rotation[..., 2, 1] - rotation[..., 1, 2],
            rotation[..., 0, 2] - rotation[..., 2, 0],
            rotation[..., 1, 0] - rotation[..., 0, 1],
        ],
        axis=-1,
    )
    sine = 0.5 * np.linalg.norm(skew, axis=-1, keepdims=True)
    cosine = 0.5 * (np.trace(rotation, axis1=-2, axis2=-1)[..., None] - 1.0)
    angle = np.arctan2(sine, cosine)
    scale = np.where(sine > 1e-9, angle / np.maximum(2.0 * sine, 1e-12), 0.5)
    return skew * scale


def from_vector(vector: Array) -> Array:
    """Rotation matrix (..., 3, 3) of a rotation vector in radians (Rodrigues)."""
    angle = np.linalg.norm(vector, axis=-1)[..., None, None]
    k = np.zeros((*vector.shape[:-1], 3, 3))
    k[..., 0, 1], k[..., 0, 2] = -vector[..., 2], vector[..., 1]
    k[..., 1, 0], k[..., 1, 2] = vector[..., 2], -vector[..., 0]
    k[..., 2, 0], k[..., 2, 1] = -vector[..., 1], vector[..., 0]
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    a = np.where(small, 1.0, np.sin(safe) / safe)
    b = np.where(small, 0.5, (1.0 - np.cos(safe)) / safe**2)
    return np.asarray(np.eye(3) + a * k + b * (k @ k))


def part_way(first: Array, second: Array, share: float) -> Array:
    """The rotation a `share` of the way from `first` to `second` along the shortest turn."""
    between = np.swapaxes(first, -1, -2) @ second
    return first @ from_vector(share * to_vector(between))
