"""Heads in frames, and covering them so that no face can be recognised.

A head is an ellipse about the landmarks of the face; where few of them are known, about the place
over the shoulders, else in the upper part of the person's box. It is wider than a head: what is
covered besides costs nothing, what is missed shows a face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from models.contract.skeleton import LANDMARKS
from models.contract.tracks import FloatArray, JointTrack
from workers.report.canvas import Picture

ABOVE_SHOULDERS = 0.41
"""Middle of the head over the middle of the shoulders, in torso lengths (shoulder to hip): heights
of shoulder, hip, chin and vertex are 0.818, 0.530, 0.870 and 1 of stature (Drillis & Contini 1966,
in Winter 2009, Biomechanics and Motor Control of Human Movement, fig. 4.1; from memory)."""
HALF_WIDTH = 0.38
"""Least half-width of what is covered, torso lengths: a head is 0.45 high by the same table, so
that its half would be 0.23 (working value)."""
FARTHER = 0.15
"""What is covered beyond the outermost landmark of a face, torso lengths: landmarks end at eyes,
ears and mouth (working value)."""
TALLER = 1.2
"""Height over width of what is covered (working value)."""
UNSURE_HALF_WIDTH = 0.6
"""Half-width where the head is only known by the shoulders, torso lengths (working value)."""
FORESHORTENED = 0.75
"""A torso that looks shorter than this share of its usual length leans towards the camera or away;
the head stays as large (working value)."""
FEW = 2
"""With fewer landmarks of the face the place over the shoulders is covered too."""
APART = 0.6
"""So far apart, in torso lengths, face and shoulders contradict each other: both places are covered
(working value)."""

CELLS = 6
"""What is covered is reduced to so many pixels across, and made large again: a face of which so
little is left is not recognised by people or machines (working value)."""

HOLD_S = 2.0
"""A head that is not found again stays covered for so long where it was (working value)."""
WIDER_PER_S = 2.0
"""... and by so much wider each second, in its width (working value: a walking head moves by its
own width in 0.15 s)."""
SAME = 2.0
"""A head nearer than so many half-widths to an earlier one is the same (working value)."""

FACE = LANDMARKS.rows(
    name for name in LANDMARKS if name.split("_")[-1] in {"nose", "ear"} or "eye" in name
)
"""Landmarks of the face among those of a track."""


@dataclass(frozen=True, slots=True)
class Head:
    """What is covered of one person.

    Attributes
    ----------
    u, v : float
        Middle, pixels.
    half_width, half_height : float
        Pixels; height is measured from the neck upwards.
    lean_deg : float
        From upright, clockwise.
    """

    u: float
    v: float
    half_width: float
    half_height: float
    lean_deg: float = 0.0

    def widened(self, factor: float) -> Head:
        """Return the same, so many times as large."""
        return replace(
            self, half_width=self.half_width * factor, half_height=self.half_height * factor
        )

    def is_near(self, other: Head) -> bool:
        """Tell whether another head can be the same one."""
        apart = float(np.hypot(self.u - other.u, self.v - other.v))
        return apart < SAME * max(self.half_width, other.half_width)


def heads_of(
    face: FloatArray,
    shoulders: FloatArray,
    hips: FloatArray,
    *,
    usual_torso: float = np.nan,
    box: FloatArray | None = None,
) -> tuple[Head, ...]:
    """Return what to cover of one person: one place, two where the joints contradict each other.

    Parameters
    ----------
    face, shoulders, hips : ndarray, shapes (N, 2), (2, 2), (2, 2)
        Pixels; NaN where not known.
    usual_torso : float
        Length of the torso in other frames, pixels; NaN = not known.
    box : ndarray, shape (4,), or None
        Left, top, right, bottom of the person, pixels: for one of whom nothing else is known.
    """
    face = face[np.isfinite(face).all(axis=1)]
    neck, middle = _middle(shoulders), _middle(hips)
    trunk = neck - middle
    torso = float(np.fmax(np.hypot(*trunk), FORESHORTENED * usual_torso))
    if not torso > 0 and box is not None:  # a standing person's box is about 3.5 torsos high
        torso = float(box[3] - box[1]) / 3.5
    if not torso > 0:
        torso = float(np.ptp(face, axis=0).max()) * 2 if len(face) > 1 else 0.0
    found: list[Head] = []
    over = np.full(2, np.nan)
    if np.isfinite(neck).all() and torso > 0:
        length = float(np.hypot(*trunk))
        up = trunk / length if length > 0.3 * torso else np.array([0.0, -1.0])
        over = neck + ABOVE_SHOULDERS * torso * up
    if len(face) and torso > 0:
        centre = face.mean(axis=0)
        reach = float(np.hypot(*(face - centre).T).max()) + FARTHER * torso
        along = centre - neck
        if not np.hypot(*along) > 0.2 * torso:
            along = np.array([0.0, -1.0])
        found.append(_head(centre, max(HALF_WIDTH * torso, reach), along))
    lost = len(face) < FEW or not np.hypot(*(face.mean(axis=0) - over)) <= APART * torso
    if np.isfinite(over).all() and lost:
        found.append(_head(over, UNSURE_HALF_WIDTH * torso, over - neck))
    if not found and box is not None:
        width, height = float(box[2] - box[0]), float(box[3] - box[1])
        centre = np.array([(box[0] + box[2]) / 2, box[1] + 0.25 * height])
        found.append(_head(centre, max(0.5 * width, 0.25 * height), np.array([0.0, -1.0])))
    return tuple(found)


def _middle(pair: FloatArray) -> FloatArray:
    """Return the middle of two points, of one where only one is known, else NaN."""
    known = pair[np.isfinite(pair).all(axis=1)]
    return np.asarray(known.mean(axis=0)) if len(known) else np.full(2, np.nan)


def _head(centre: FloatArray, half_width: float, along: FloatArray) -> Head:
    lean = float(np.degrees(np.arctan2(along[0], -along[1])))
    return Head(float(centre[0]), float(centre[1]), half_width, TALLER * half_width, lean)


class ServerHeads:
    """Where the server's head is at any time: as seen, else where it was before and after.

    Parameters
    ----------
    track : JointTrack
        Frames in which nobody was followed are bridged.
    """

    def __init__(self, track: JointTrack) -> None:
        shoulders, hips = (track.xy[:, LANDMARKS.pair(name)] for name in ("shoulder", "hip"))
        torsos = np.hypot(*(shoulders.mean(axis=1) - hips.mean(axis=1)).T)
        usual = float(np.nanmedian(torsos)) if np.isfinite(torsos).any() else np.nan
        heads = [
            heads_of(face, *pairs, usual_torso=usual)
            for face, *pairs in zip(track.xy[:, FACE], shoulders, hips, strict=True)
        ]
        rows = [row for row, found in enumerate(heads) if found]
        self._times = track.time_s[rows]
        self._heads = [heads[row] for row in rows]

    def at(self, time_s: float) -> tuple[Head, ...]:
        """Return what to cover at a time, seconds."""
        if not self._heads:
            return ()
        after = int(np.searchsorted(self._times, time_s - 1e-6))
        beside = [row for row in (after - 1, after) if 0 <= row < len(self._heads)]
        exact = [row for row in beside if abs(self._times[row] - time_s) <= 1e-6]
        found: list[Head] = []
        for row in exact or beside:
            gap = abs(float(self._times[row]) - time_s)
            found += [head.widened(_wider(gap)) for head in self._heads[row]]
        if len(found) == len(beside) == 2 and not exact:
            one, two = found
            found.append(replace(one, u=(one.u + two.u) / 2, v=(one.v + two.v) / 2))
        return tuple(found)


def _wider(gap_s: float) -> float:
    return 1.0 + WIDER_PER_S * min(gap_s, HOLD_S)


class HeldHeads:
    """Heads of everybody as they were last found."""

    def __init__(self) -> None:
        self._held: list[tuple[float, Head]] = []

    def found(self, time_s: float, heads: Sequence[Head]) -> None:
        """Take what a frame showed; those not found again stay for a while."""
        kept = [
            (when, head)
            for when, head in self._held
            if 0 <= time_s - when <= HOLD_S and not any(head.is_near(new) for new in heads)
        ]
        self._held = kept + [(time_s, head) for head in heads]

    def at(self, time_s: float) -> tuple[Head, ...]:
        """Return what to cover, wider the longer ago it was found."""
        return tuple(
            head.widened(_wider(time_s - when))
            for when, head in self._held
            if time_s - when <= HOLD_S
        )


def covered(frame: Picture, heads: Sequence[Head]) -> Picture:
    """Return the frame with these heads made unrecognisable; elsewhere it stays as it is."""
    picture = frame.copy()
    for head in heads:
        _cover(picture, frame, head)
    return picture


def _cover(picture: Picture, frame: Picture, head: Head) -> None:
    height, width = frame.shape[:2]
    reach = head.half_height + 1
    left, right = (int(np.clip(head.u + side * reach, 0, width)) for side in (-1, 1))
    top, bottom = (int(np.clip(head.v + side * reach, 0, height)) for side in (-1, 1))
    if right <= left or bottom <= top:
        return
    part = frame[top:bottom, left:right]
    longest = max(part.shape[:2])
    cells = tuple(max(1, round(CELLS * side / longest)) for side in (right - left, bottom - top))
    few = cv2.resize(part, cells, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(few, (3, 3), 0)
    rough = cv2.resize(blurred, (right - left, bottom - top), interpolation=cv2.INTER_LINEAR)
    v, u = np.mgrid[top:bottom, left:right] + 0.5
    lean = np.radians(head.lean_deg)
    along = (u - head.u) * np.sin(lean) - (v - head.v) * np.cos(lean)
    across = (u - head.u) * np.cos(lean) + (v - head.v) * np.sin(lean)
    inside = (across / head.half_width) ** 2 + (along / head.half_height) ** 2 <= 1.0
    picture[top:bottom, left:right][inside] = rough.reshape(part.shape)[inside]
