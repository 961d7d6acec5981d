"""All people in a whole frame, by MoveNet multi-pose.

Tried on the rendered clips and a real one: at 384 pixels on the long side it found
every person in every sampled frame; at 256 its joints were up to a torso length off.
The frame is only searched again at a larger size if nobody is seen. The BlazePose person
detector was tried on the same frames: a third of the cost, but its hips were 0.1 to 0.7 torso
lengths off in the median (multi-pose: 0.04 to 0.12), up to 4, and it missed the second person.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from models.contract.skeleton import KEYPOINTS
from workers.pose.frames import FloatArray, Picture
from workers.pose.networks import Runner

LONG_SIDES = (384, 640)
"""Sizes tried, pixels of the long side; the second finds people that stand far away."""

STRIDE = 32
"""The network wants both sides a multiple of this."""

SURE = 0.25
"""Finds below this score are dropped."""

PERHAPS = 0.15
"""... and below this where nobody may be missed (working value)."""

SAME_PERSON = 0.6
"""Two finds whose boxes overlap by more (intersection over union) are one person."""


@dataclass(frozen=True, slots=True)
class Person:
    """One person found in a frame.

    Attributes
    ----------
    box : ndarray, shape (4,)
        Left, top, right, bottom, pixels.
    score : float
        0..1.
    keypoints : ndarray, shape (17, 3)
        COCO keypoints: u, v in pixels, score.
    """

    box: FloatArray
    score: float
    keypoints: FloatArray

    @property
    def hips(self) -> FloatArray:
        """Left and right hip, shape (2, 2), pixels."""
        return self.keypoints[KEYPOINTS.pair("hip"), :2]

    @property
    def shoulders(self) -> FloatArray:
        """Left and right shoulder, shape (2, 2), pixels."""
        return self.keypoints[5:7, :2]

    @property
    def height(self) -> float:
        """Height of the box, pixels."""
        return float(self.box[3] - self.box[1])

    def scaled(self, factor: float) -> Person:
        """The same in pixels of a picture `factor` times as large."""
        times = np.array([factor, factor, 1.0])
        return Person(self.box * factor, self.score, self.keypoints * times)


def find_people(run: Runner, picture: Picture) -> list[Person]:
    """People in a frame, best first; at most six."""
    for long_side in LONG_SIDES:
        people = _search(run, picture, long_side)
        if people:
            return people
    return []


def find_everybody(run: Runner, picture: Picture) -> list[Person]:
    """Whoever may be a person in a frame, at each size; one person can be there more than once.

    At most six a size: the network tells no more.
    """
    return [
        person for long_side in LONG_SIDES for person in _search(run, picture, long_side, PERHAPS)
    ]


def _search(run: Runner, picture: Picture, long_side: int, sure: float = SURE) -> list[Person]:
    height, width = picture.shape[:2]
    scale = long_side / max(height, width)
    rows, columns = max(1, round(height * scale)), max(1, round(width * scale))
    padded = (-(-rows // STRIDE) * STRIDE, -(-columns // STRIDE) * STRIDE)
    image = np.zeros((1, *padded, 3), dtype=np.int32)
    image[0, :rows, :columns] = cv2.resize(
        picture, (columns, rows), interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    )
    found = np.asarray(run(image)["people"], dtype=np.float64)[0]
    to_picture = np.array([padded[1] * width / columns, padded[0] * height / rows])
    people = []
    for row in found[found[:, 55] >= sure]:
        points = row[:51].reshape(17, 3)
        keypoints = np.column_stack([points[:, [1, 0]] * to_picture, points[:, 2]])
        box = row[[52, 51, 54, 53]] * np.tile(to_picture, 2)
        people.append(Person(box=box, score=float(row[55]), keypoints=keypoints))
    return drop_duplicates(people)


def drop_duplicates(people: list[Person]) -> list[Person]:
    """The better of any two finds that are the same person; best first."""
    kept: list[Person] = []
    for person in sorted(people, key=lambda p: p.score, reverse=True):
        if all(overlap(person.box, other.box) <= SAME_PERSON for other in kept):
            kept.append(person)
    return kept


def overlap(a: FloatArray, b: FloatArray) -> float:
    """Intersection over union of two boxes (left, top, right, bottom)."""
    shared = np.minimum(a[2:], b[2:]) - np.maximum(a[:2], b[:2])
    if (shared <= 0).any():
        return 0.0
    area = float(shared.prod())
    return area / (float((a[2:] - a[:2]).prod()) + float((b[2:] - b[:2]).prod()) - area)
