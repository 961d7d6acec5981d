"""Where the target is, by straight lines on the ground that run along and across the court.

The plane through the camera and a line in the picture holds the line's direction in space; a level
line on the ground is thus known in direction by the camera's tilt and focal length alone, not by
its height. Lines of a court, and most of what stands beside one, run toward the net or along it:
one heading explains both families, up to quarter turns, which the body tells apart. Tilt, roll and
focal length of the fitted camera are kept within what it may be off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.camera import LevelCamera, rotation

PITCH_SD, ROLL_SD, FOCAL_SD = np.radians(2.5), np.radians(1.5), 0.4
"""How far tilt, roll (rad) and the logarithm of the focal length of a fitted camera may be off
(working values: a body tells little of any; 14 rendered films 2.2 and 1.3 deg, 0.4)."""
END_SD_PX = 0.8
"""How far an end of a found edge lies off its line, pixels of a picture 1,280 wide."""
LEAST_SD = float(np.radians(0.4))
"""How far a line's plane is off at least, rad: bent lenses, lines that are not straight."""
BELOW = float(np.radians(1.5))
"""Both ends of a line on the ground are seen so far under the horizon, rad (working value)."""
ALIKE = 0.6
"""What one edge counts: both edges of a painted line, and pieces of one line, err alike."""
STRAY = 1.0
"""Standard deviations from which an edge counts less and less: it is no line of the court. Both
were chosen on 60 drawn courts without a player, their cameras known to a fit's errors: half of the
headings within 1.1 deg, root mean square 3.2 (the body's: 6), 98 % within the stated interval."""
STEP, REACH = float(np.radians(0.5)), float(np.radians(30.0))
"""Headings that are tried, rad about the body's."""
STEPS = 6
"""Gauss-Newton steps for each heading (working value)."""
MOST = np.array([np.radians(4.0), np.radians(3.0), 0.4])
"""The longest step of tilt and roll, rad, and of the logarithm of the focal length."""
TAILS = 3.0
"""Degrees of freedom of Student t of the body's heading: now and then it is far off."""
FEWEST = 4
"""Edges that must agree at least (working value)."""
AGREEING = 0.4
"""Their share of the length of all edges at least (working value)."""
FLOOR = float(np.radians(1.0))
"""Standard deviation of a heading by lines at least, rad: feet and net are not set out to less."""


def line_heading(
    ends: FloatArray, width: int, camera: LevelCamera, heading: float, sd: float
) -> tuple[float, float] | None:
    """Return the heading of the target in the levelled frame that lines and body agree on.

    Parameters
    ----------
    ends : ndarray, shape (N, 2, 2)
        Straight edges: both ends, pixels u right, v down.
    width : int
        Of the picture, pixels.
    camera : LevelCamera
        As the body's fit has it.
    heading, sd : float
        What the body says, rad.

    Returns
    -------
    (heading, sd) or None
        Radians; None where too few edges lie on the ground, or they do not agree.
    """
    edges = _ground_edges(ends, camera)
    if len(edges) < FEWEST:
        return None
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    tried = np.arange(-REACH, REACH + STEP / 2, STEP)
    cost, agree = _costs(edges, length, END_SD_PX * width / 1280.0, camera, heading + tried)
    cost = cost + 0.5 * (TAILS + 1.0) * np.log1p((tried / sd) ** 2 / TAILS)
    best = int(np.argmin(cost))
    agreeing = agree[best] > 0.5
    if float(length[agreeing].sum()) < AGREEING * length.sum() or int(agreeing.sum()) < FEWEST:
        return None
    weight = np.exp(cost[best] - cost)
    weight /= weight.sum()
    mean = float(weight @ tried)
    spread = float(np.sqrt(weight @ (tried - mean) ** 2 + FLOOR**2))
    return (heading + mean, spread) if spread < sd else None


def _ground_edges(ends: FloatArray, camera: LevelCamera) -> FloatArray:
    """Return the edges whose ends both lie under the horizon, pixels about the middle."""
    about = np.asarray(ends, float) - np.array(camera.centre_px)
    rays = np.concatenate([about, np.full((*about.shape[:-1], 1), camera.focal_px)], axis=-1)
    level = rays @ rotation(camera.pitch, camera.roll)
    under = level[..., 2] < -np.sin(BELOW) * np.linalg.norm(rays, axis=-1)
    return np.asarray(about[under.all(axis=1)])


@dataclass(frozen=True, slots=True)
class _Seen:
    """Level directions in the axes of cameras, and their derivatives by tilt and roll."""

    ways: FloatArray
    by_pitch: FloatArray
    by_roll: FloatArray


def _seen(headings: FloatArray, pitch: FloatArray, roll: FloatArray) -> _Seen:
    """Return the target's direction and the one across, each for a camera of its own: (H, 2, 3)."""
    x = np.stack([np.cos(headings), -np.sin(headings)], axis=1)
    y = np.stack([np.sin(headings), np.cos(headings)], axis=1)
    cp, sp = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
    cr, sr = np.cos(roll)[:, None], np.sin(roll)[:, None]
    return _Seen(
        np.stack([cr * x + sr * sp * y, sr * x - cr * sp * y, cp * y], axis=-1),
        np.stack([sr * cp * y, -cr * cp * y, -sp * y], axis=-1),
        np.stack([-sr * x + cr * sp * y, cr * x + sr * sp * y, np.zeros_like(x)], axis=-1),
    )


def _costs(
    edges: FloatArray, length: FloatArray, off_px: float, camera: LevelCamera, headings: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the least cost of each heading (H,), and how far each edge agrees with it (H, N).

    Tilt, roll and focal length are found anew for each heading, by Gauss-Newton steps.
    """
    first, second = edges[:, 0], edges[:, 1]
    line = np.stack(
        [
            first[:, 1] - second[:, 1],
            second[:, 0] - first[:, 0],
            first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0],
        ],
        axis=1,
    )
    middle = edges.mean(axis=1)
    prior = np.diag(1.0 / np.array([PITCH_SD, ROLL_SD, FOCAL_SD]) ** 2)
    step = np.zeros((len(headings), 3))
    for last in [False] * STEPS + [True]:
        focal = camera.focal_px * np.exp(step[:, 2])
        seen = _seen(headings, camera.pitch + step[:, 0], camera.roll + step[:, 1])
        # a plane l x + m y + n f = 0 in the picture is (l f, m f, n) in space
        normal = np.empty((len(headings), *line.shape))
        normal[..., :2] = line[:, :2] * focal[:, None, None]
        normal[..., 2] = line[:, 2]
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        ray = np.empty_like(normal)
        ray[..., :2] = middle / focal[:, None, None]
        ray[..., 2] = 1.0
        ray /= np.linalg.norm(ray, axis=-1, keepdims=True)
        end = off_px / focal[:, None, None]
        tilt = np.einsum("hwc,hnc->hwn", seen.ways, np.cross(normal, ray))
        along = np.einsum("hwc,hnc->hwn", seen.ways, ray)
        turned = np.sqrt(2.0) * off_px / length
        sd = np.sqrt((tilt * turned) ** 2 + (along * end) ** 2 / 2.0 + LEAST_SD**2)
        miss = np.einsum("hwc,hnc->hwn", seen.ways, normal) / sd
        family = np.argmin(np.abs(miss), axis=1)[:, None]
        now = np.take_along_axis(miss, family, axis=1)[:, 0]
        if last:
            break
        in_picture = seen.ways * np.array([1.0, 1.0, 0.0])
        slopes = np.stack(
            [
                np.einsum("hwc,hnc->hwn", part, normal) / sd
                for part in (seen.by_pitch, seen.by_roll, in_picture)
            ],
            axis=-1,
        )
        slope = np.take_along_axis(slopes, family[..., None], axis=1)[:, 0]
        weight = ALIKE / (1.0 + (now / STRAY) ** 2)
        left = np.einsum("hnk,hn,hnl->hkl", slope, weight, slope) + prior
        right = -np.einsum("hnk,hn,hn->hk", slope, weight, now) - step @ prior
        step = step + np.clip(np.linalg.solve(left, right[..., None])[..., 0], -MOST, MOST)
    robust = 0.5 * ALIKE * STRAY**2 * np.log1p((now / STRAY) ** 2)
    cost = robust.sum(axis=1) + 0.5 * np.einsum("hk,kl,hl->h", step, prior, step)
    return cost, 1.0 / (1.0 + (now / STRAY) ** 2)
