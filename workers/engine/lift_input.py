"""What the learned lift reads: both pose networks' landmarks over a stretch, 60 times a second.

Everything is brought to the film's own clock at an even rate, to standing heights and about the
mid-hip, so that neither the frame rate nor the size of the picture matters. Frames in which nobody
was seen are bridged and have no confidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import ANATOMICAL_BODY, KEYPOINTS, LANDMARKS, PICTURE_ROWS, canonical
from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import FloatArray, IntArray, JointTrack

RATE_HZ = 60.0
"""Even rate at which the sequence is read; trained with this value."""
STANDING_S = 0.35
"""Start of the stretch from which size and standing posture are taken, seconds."""
EAR_TO_ANKLE = 0.87
"""Height of the ears over the ankles in standing heights, standing as before a serve."""
SECOND = len(KEYPOINTS)
"""Joints that the second pose network gives: the first 17 of the body."""
TOLD_SPREAD_DEG = 10.0
"""A direction that is told counts less the less surely it is known: exp(-sd / this)."""
CLOSE_FRAMES = 1.3
"""Frames within an even step from which they are averaged (working value)."""
BRIDGED_S = 0.1
"""A gap longer than this has no confidence at all, seconds (working value)."""

_ROWS = len(BODY)
WIDTH = 2 * _ROWS + 2 * SECOND + _ROWS + SECOND + 3 * _ROWS + 2 + 1 + 3 + 2 * _ROWS + 3 * _ROWS
"""Columns that the network reads, see `assemble`."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the pose networks saw of a stretch, as a right-hander, at the film's own frames.

    Attributes
    ----------
    rows : ndarray of int, shape (T,)
        Rows of the track in which the whole body was seen.
    time_s : ndarray, shape (T,)
    plane : ndarray, shape (T, 21, 2)
        First network, pixels, v up.
    second : ndarray, shape (T, 17, 2)
        Second network; NaN where there is none.
    sure, second_sure : ndarray, shape (T, 21), (T, 17)
        Confidences 0..1.
    space : ndarray, shape (T, 21, 3)
        First network's own 3D: x right, y away, z up, metres.
    """

    rows: IntArray
    time_s: FloatArray
    plane: FloatArray
    second: FloatArray
    sure: FloatArray
    second_sure: FloatArray
    space: FloatArray


def seen_in(track: JointTrack, rows: IntArray, mirrored: bool) -> Seen:
    """Return what both networks saw at some rows of a track.

    Without sources (joints of an unknown origin) the track's own landmarks are the first network,
    and there is no second.
    """
    first = next((v for name, v in track.sources.items() if "blazepose" in name), None)
    other = next((v for name, v in track.sources.items() if "blazepose" not in name), None)
    both = list(PICTURE_ROWS)
    pixels = track.xy_raw[rows][:, both] if first is None else first[rows][:, both, :2]
    pixels = np.where(np.isfinite(pixels), pixels, track.xy_raw[rows][:, both])
    sure = track.confidence[rows][:, both] if first is None else first[rows][:, both, 2]
    few = LANDMARKS.rows(ANATOMICAL_BODY.names[:SECOND])
    shape = (len(rows), SECOND, 3)
    second = np.full(shape, np.nan) if other is None else np.array(other[rows][:, few], float)
    good = np.isfinite(pixels).all(axis=(1, 2))
    good &= np.isfinite(track.world[rows][:, both]).all(axis=(1, 2))
    up = np.array([1.0, -1.0])
    plane = _as_right_hander(pixels[good] * up, mirrored)
    space = track.world[rows][good][:, both][..., [0, 2, 1]] * np.array([1.0, 1.0, -1.0])
    return Seen(
        rows=np.asarray(rows)[good],
        time_s=np.asarray(track.time_s[rows], dtype=np.float64)[good],
        plane=plane,
        second=_of_seventeen(second[good][..., :2] * up, mirrored),
        sure=_swapped(np.nan_to_num(sure[good]), mirrored),
        second_sure=_swapped(np.nan_to_num(second[good][..., 2]), mirrored),
        space=_as_right_hander(space, mirrored),
    )


def even_times(time_s: FloatArray) -> FloatArray:
    """Return the instants at which a stretch is read, seconds."""
    count = max(int(np.floor((time_s[-1] - time_s[0]) * RATE_HZ + 1e-6)) + 1, 2)
    return np.asarray(time_s[0] + np.arange(count) / RATE_HZ)


def resample(time_s: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """Return a series (T, ...) at instants (N,), linear in between, held at the ends.

    Where frames are closer than the even step they are averaged with a triangle of one step, so
    that those of faster films count alike.
    """
    flat = np.asarray(series, dtype=np.float64).reshape(len(time_s), -1)
    i = np.clip(np.searchsorted(time_s, when, side="right") - 1, 0, len(time_s) - 2)
    share = np.clip((when - time_s[i]) / (time_s[i + 1] - time_s[i]), 0.0, 1.0)[:, None]
    even = flat[i] * (1.0 - share) + flat[i + 1] * share
    weight = np.maximum(1.0 - np.abs(when[:, None] - time_s[None]) * RATE_HZ, 0.0)
    total = weight.sum(axis=1, keepdims=True)
    close = total[:, 0] > CLOSE_FRAMES
    even[close] = weight[close] @ flat / total[close]
    return np.asarray(even.reshape(len(when), *series.shape[1:]))


def stature_px(plane: FloatArray, still: int) -> float:
    """Return the standing height in the units of points (T, 21, D), the last axis up."""
    ears = BODY.middle(plane[:still], "ear")[:, -1]
    ankles = BODY.middle(plane[:still], "ankle")[:, -1]
    return float(np.median(ears - ankles)) / EAR_TO_ANKLE


def still_frames(count: int) -> int:
    """Return how many even frames count as standing."""
    return min(int(STANDING_S * RATE_HZ) + 1, count)


@dataclass(frozen=True, slots=True)
class Read:
    """One stretch as the network reads it.

    Attributes
    ----------
    when : ndarray, shape (N,)
        Even instants, seconds.
    features : ndarray, shape (N, WIDTH)
    place : ndarray, shape (N, 21, 2)
        First network's joints about the mid-hip, standing heights, v up.
    path : ndarray, shape (N, 2)
        Mid-hip from its standing place, standing heights.
    """

    when: FloatArray
    features: FloatArray
    place: FloatArray
    path: FloatArray


def read(seen: Seen, told: tuple[float, float] | None = None) -> Read | None:
    """Return the network's input, or None where the standing person has no height.

    Parameters
    ----------
    seen : Seen
    told : (heading, sd), optional
        Direction of the target in the levelled frame, rad, where somebody told it.
    """
    when = even_times(seen.time_s)
    still = still_frames(len(when))
    plane = resample(seen.time_s, seen.plane, when)
    space = resample(seen.time_s, seen.space, when)
    tall, high = stature_px(plane, still), stature_px(space, still)
    if tall <= 0.0 or high <= 0.0:
        return None
    hips = BODY.middle(plane, "hip")
    place = (plane - hips[:, None]) / tall
    path = (hips - np.median(hips[:still], axis=0)) / tall
    known = np.isfinite(seen.second).all(axis=(1, 2))
    has_second = float(known.mean() > 0.5)
    if has_second:
        at = seen.time_s[known]
        second = (resample(at, seen.second[known], when) - hips[:, None]) / tall
        second_sure = resample(at, seen.second_sure[known], when)
    else:
        second, second_sure = np.zeros((len(when), SECOND, 2)), np.zeros((len(when), SECOND))
    trust = _nearness(seen.time_s, when)[:, None]
    features = assemble(
        place,
        second,
        resample(seen.time_s, seen.sure, when) * trust,
        second_sure * trust,
        (space - BODY.middle(space, "hip")[:, None]) / high,
        path,
        has_second,
        told_columns(told),
        still,
    )
    return Read(when, features, place, path)


def told_columns(told: tuple[float, float] | None) -> FloatArray:
    """Return sine, cosine and weight of a told direction; zeros where nobody told one."""
    if told is None:
        return np.zeros(3)
    weight = float(np.exp(-np.degrees(told[1]) / TOLD_SPREAD_DEG))
    return np.array([np.sin(told[0]), np.cos(told[0]), 1.0]) * weight


def assemble(
    place: FloatArray,
    second: FloatArray,
    sure: FloatArray,
    second_sure: FloatArray,
    space: FloatArray,
    path: FloatArray,
    has_second: float,
    told: FloatArray,
    still: int,
) -> FloatArray:
    """Return the columns of the network's input, (N, WIDTH).

    Both networks' joints, their confidences, the first one's own 3D, the path of the mid-hip,
    whether there is a second network, the told direction, and the standing posture in the picture
    and in that 3D.
    """
    count = len(place)
    standing = np.concatenate(
        [np.median(part[:still].reshape(still, -1), axis=0) for part in (place, space)]
    )
    fixed = np.concatenate([[has_second], told, standing])
    return np.concatenate(
        [
            place.reshape(count, -1),
            second.reshape(count, -1),
            sure,
            second_sure,
            space.reshape(count, -1),
            path,
            np.broadcast_to(fixed, (count, len(fixed))),
        ],
        axis=1,
    )


def _nearness(time_s: FloatArray, when: FloatArray) -> FloatArray:
    """Return 1 at instants near a frame, down to 0 in the middle of a long gap, (N,)."""
    away = np.abs(when[:, None] - time_s[None]).min(axis=1)
    return np.asarray(np.clip(2.0 - away / BRIDGED_S, 0.0, 1.0))


def _as_right_hander(points: FloatArray, mirrored: bool) -> FloatArray:
    return canonical(points, left_handed=mirrored, axis=0)


def _of_seventeen(points: FloatArray, mirrored: bool) -> FloatArray:
    """Mirror (T, 17, 2), which are the first joints of the body."""
    return KEYPOINTS.mirror(points, axis=0) if mirrored else points


def _swapped(values: FloatArray, mirrored: bool) -> FloatArray:
    """Swap the sides of confidences (T, J)."""
    names = BODY if values.shape[1] == len(BODY) else KEYPOINTS
    return values[:, list(names.swap)] if mirrored else values
