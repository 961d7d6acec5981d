"""Names, order and sides of joints: the one place where a joint's index is looked up.

Three bodies. In the picture and in joints measured elsewhere, left and right are the person's
own (anatomical). The canonical body is a right-hander in the court frame (left-handers mirrored),
and its joints are named by what they do in the serve: arms, shoulders and head ``hitting`` or
``tossing``, hips and legs ``rear`` or ``front``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.floating[Any]]

ARM_AND_LEG: tuple[tuple[str, str], ...] = (("tossing", "front"), ("hitting", "rear"))
"""Side words of the canonical body, of arm and leg: first the left side of a right-hander."""

_FIRST = ("left", "tossing", "front")
_PARTNER = MappingProxyType(
    {
        "left": "right",
        "right": "left",
        "tossing": "hitting",
        "hitting": "tossing",
        "front": "rear",
        "rear": "front",
    }
)


class Skeleton:
    """An ordered set of named joints with their mirror images.

    Parameters
    ----------
    names : iterable of str
        In array order. A word of the name, between underscores, tells the side; of the two joints
        of a pair the left (tossing, front) one comes first.
    aliases : mapping of str to str, optional
        Other names that `index` understands.
    """

    def __init__(self, names: Iterable[str], aliases: dict[str, str] | None = None) -> None:
        self.names: tuple[str, ...] = tuple(names)
        self._rows = {name: row for row, name in enumerate(self.names)}
        for alias, name in (aliases or {}).items():
            self._rows[alias] = self._rows[name]

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __contains__(self, name: object) -> bool:
        return name in self._rows

    def index(self, name: str) -> int:
        """Return the index of a joint. Raises ``KeyError`` if there is none of this name."""
        return self._rows[name]

    def rows(self, names: Iterable[str]) -> list[int]:
        """Return the indices of several joints, in their order."""
        return [self._rows[name] for name in names]

    def full_name(self, name: str) -> str:
        """Return what this skeleton calls the joint: an alias gives the name."""
        return self.names[self._rows[name]]

    @cached_property
    def swap(self) -> tuple[int, ...]:
        """The index of each joint's mirror image."""
        return tuple(self.rows(partner(name) for name in self.names))

    @cached_property
    def _pairs(self) -> dict[str, tuple[str, str]]:
        found: dict[str, tuple[str, str]] = {}
        for name in self._rows:
            if side_of(name) in _FIRST:
                found[part_of(name)] = name, partner(name)
        return found

    def both(self, part: str) -> tuple[str, str]:
        """Return the two joints of a part: ``hip`` -> left and right hip, or front and rear hip.

        Raises ``KeyError`` if the part has no two sides.
        """
        return self._pairs[part]

    def pair(self, part: str) -> list[int]:
        """Return the indices of `both`."""
        return self.rows(self.both(part))

    def at(self, points: Points, name: str) -> Points:
        """Return one joint of points (..., J, D), shape (..., D)."""
        return np.asarray(points[..., self._rows[name], :])

    def middle(self, points: Points, part: str) -> Points:
        """Return the mid-point of the two joints of a part, (..., J, D) -> (..., D)."""
        first, second = self.pair(part)
        return np.asarray((points[..., first, :] + points[..., second, :]) / 2.0)

    def mirror(self, points: Points, axis: int) -> Points:
        """Return the mirror image of points (..., J, D): one coordinate negated, sides swapped."""
        flip = np.ones(points.shape[-1])
        flip[axis] = -1.0
        return np.asarray((points * flip)[..., list(self.swap), :])


def partner(name: str) -> str:
    """Return the mirror image of a joint, segment or side; one of the middle is its own."""
    return "_".join(_PARTNER.get(word, word) for word in name.split("_"))


def side_of(name: str) -> str | None:
    """Return the side word of a joint or segment (``hitting_wrist`` -> ``hitting``), or None."""
    return next((word for word in name.split("_") if word in _PARTNER), None)


def part_of(name: str) -> str:
    """Return a joint or segment without its side: ``rear_hip`` -> ``hip``, ``nose`` as it is."""
    return "_".join(word for word in name.split("_") if word not in _PARTNER)


LANDMARKS = Skeleton(
    (
        "nose",
        "left_eye_inner",
        "left_eye",
        "left_eye_outer",
        "right_eye_inner",
        "right_eye",
        "right_eye_outer",
        "left_ear",
        "right_ear",
        "mouth_left",
        "mouth_right",
        "left_shoulder",
        "right_shoulder",
        "left_elbow",
        "right_elbow",
        "left_wrist",
        "right_wrist",
        "left_pinky",
        "right_pinky",
        "left_index",
        "right_index",
        "left_thumb",
        "right_thumb",
        "left_hip",
        "right_hip",
        "left_knee",
        "right_knee",
        "left_ankle",
        "right_ankle",
        "left_heel",
        "right_heel",
        "left_foot_index",
        "right_foot_index",
    ),
    aliases={"left_toe": "left_foot_index", "right_toe": "right_foot_index"},
)
"""The 33 landmarks of the pose network in the picture, in output order; anatomical sides."""

ANATOMICAL_BODY = Skeleton(
    (
        "nose",
        "left_eye",
        "right_eye",
        "left_ear",
        "right_ear",
        "left_shoulder",
        "right_shoulder",
        "left_elbow",
        "right_elbow",
        "left_wrist",
        "right_wrist",
        "left_hip",
        "right_hip",
        "left_knee",
        "right_knee",
        "left_ankle",
        "right_ankle",
        "left_heel",
        "right_heel",
        "left_toe",
        "right_toe",
    )
)
"""The joints of a body with anatomical sides: joint files from elsewhere, rendered truth."""

CANONICAL_BODY = Skeleton(
    (
        "nose",
        "tossing_eye",
        "hitting_eye",
        "tossing_ear",
        "hitting_ear",
        "tossing_shoulder",
        "hitting_shoulder",
        "tossing_elbow",
        "hitting_elbow",
        "tossing_wrist",
        "hitting_wrist",
        "front_hip",
        "rear_hip",
        "front_knee",
        "rear_knee",
        "front_ankle",
        "rear_ankle",
        "front_heel",
        "rear_heel",
        "front_toe",
        "rear_toe",
    )
)
"""Joints of the body in the court frame (joint centres; heel and toe on the skin), by role.

In the order of `ANATOMICAL_BODY` of a right-hander."""

KEYPOINTS = Skeleton(ANATOMICAL_BODY.names[:17])
"""The 17 COCO keypoints of the second pose network and of the person finder, in output order."""

PICTURE_ROWS: tuple[int, ...] = tuple(LANDMARKS.rows(ANATOMICAL_BODY))
"""The landmark of each joint of `ANATOMICAL_BODY`."""


def counterpart(name: str, *, left_handed: bool) -> str:
    """Return what a joint of the canonical body is called on the person, or the other way round.

    ``hitting_wrist`` <-> ``right_wrist`` of a right-hander, ``left_wrist`` of a left-hander.
    Raises ``KeyError`` if neither body has the joint.
    """
    here, there = CANONICAL_BODY, ANATOMICAL_BODY
    if name not in here:
        here, there = there, here
    row = here.index(name)
    return there.names[there.swap[row] if left_handed else row]


def canonical(points: Points, *, left_handed: bool, axis: int) -> Points:
    """Return joints (..., 21, D) in the order of `ANATOMICAL_BODY` in that of `CANONICAL_BODY`.

    A left-hander is mirrored: coordinate ``axis`` (the horizontal one across the mirror) negated,
    sides swapped. The same call leads back.
    """
    return CANONICAL_BODY.mirror(points, axis) if left_handed else points
