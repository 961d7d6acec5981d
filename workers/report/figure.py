"""Where the marks of one frame lie, in pixels of the upright frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS, counterpart, partner
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import Handedness

Side = str
LOW_CONFIDENCE = 0.5
"""Below this a joint is drawn as less certain."""

ASTRAY = 0.1
"""Share of the figure's height by which the fitted body may lie beside the one in the picture."""

SEGMENTS: tuple[tuple[str, str], ...] = (
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("wrist", "index"),
    ("shoulder", "hip"),
    ("hip", "knee"),
    ("knee", "ankle"),
    ("ankle", "heel"),
    ("heel", "foot_index"),
    ("ankle", "foot_index"),
)
"""Segments of each side of the body, by landmark name without the side."""


@dataclass(frozen=True, slots=True)
class Balance:
    """The plumb line of the centre of mass and the line between the feet, pixels.

    ``rear`` and ``front`` are the middles of the feet from heel to toe tip, on the floor: where
    weight over a foot is counted to. ``foot`` is the foot of the perpendicular from the plumb line
    to the line between them; ``share`` is the rear foot's share of the weight by posture that this
    point stands for.
    """

    centre_of_mass: FloatArray
    floor: FloatArray
    rear: FloatArray
    front: FloatArray
    foot: FloatArray
    share: float

    def at(self, share: float) -> FloatArray:
        """Return where a share of the rear foot lies on the line between the feet, pixels.

        Feet are nearly equally far from the camera, so perspective is left out.
        """
        return np.asarray(self.front + share * (self.rear - self.front))


@dataclass(frozen=True, slots=True)
class Figure:
    """One person in one frame.

    Attributes
    ----------
    points : mapping of str to ndarray, shape (2,)
        The landmarks that were seen.
    unsure : frozenset of str
        Those among them below ``LOW_CONFIDENCE``.
    rear : ``"right"``, ``"left"`` or None
        The hitting side; None when the hand is unknown.
    balance : Balance or None
    """

    points: Mapping[str, FloatArray]
    unsure: frozenset[str] = frozenset()
    rear: Side | None = None
    balance: Balance | None = None
    front: Side | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        object.__setattr__(self, "front", None if self.rear is None else partner(self.rear))

    def pair(self, name: str) -> tuple[FloatArray, FloatArray] | None:
        """Return the left and right points of a joint, or None when one was not seen."""
        left, right = (self.points.get(one) for one in LANDMARKS.both(name))
        return None if left is None or right is None else (left, right)

    def extent(self) -> npt.NDArray[np.floating[Any]]:
        """Return all points, shape (N, 2)."""
        points = list(self.points.values())
        if self.balance is not None:
            points += [self.balance.floor, self.balance.rear, self.balance.front]
        return np.array(points, dtype=np.float64).reshape(-1, 2)


def figure_at(
    frame: int,
    track: JointTrack,
    handedness: Handedness,
    body: BodyMotion | None = None,
    centre_of_mass: FloatArray | None = None,
) -> Figure:
    """Return the figure of one frame.

    Parameters
    ----------
    frame : int
        Index of the frame in the clip.
    body, centre_of_mass : BodyMotion and ndarray, shape (T, 3), or None
        The fitted body and its centre of mass, metres, court frame, one row per row of the body.
    """
    row = int(np.argmin(np.abs(track.frame_index - frame)))
    points: dict[str, FloatArray] = {}
    unsure = set()
    if track.frame_index[row] == frame:
        for i, name in enumerate(LANDMARKS):
            if np.all(np.isfinite(track.xy[row, i])):
                points[name] = np.asarray(track.xy[row, i], dtype=np.float64)
                if not track.confidence[row, i] >= LOW_CONFIDENCE:
                    unsure.add(name)
    rear = None if handedness is Handedness.UNKNOWN else handedness.value
    balance = None
    if body is not None and centre_of_mass is not None and agrees(frame, body, points):
        balance = balance_at(frame, body, centre_of_mass)
    return Figure(points, frozenset(unsure), rear, balance)


def agrees(frame: int, body: BodyMotion, points: Mapping[str, FloatArray]) -> bool:
    """Whether the fitted body, seen through its camera, lies on the person in the picture.

    A plumb line drawn from a body that lies elsewhere would mislead.
    """
    if body.camera is None or len(body) == 0 or not points:
        return False
    row = int(np.argmin(np.abs(body.frame_index - frame)))
    if body.frame_index[row] != frame:
        return False
    distances = []
    for joint, place in zip(CANONICAL_BODY, body.joints[row], strict=True):
        name = LANDMARKS.full_name(counterpart(joint, left_handed=body.mirrored))
        if name in points:
            distances.append(float(np.linalg.norm(body.camera.project(place) - points[name])))
    height = float(np.ptp(np.array(list(points.values()))[:, 1]))
    return bool(distances) and float(np.nanmedian(distances)) <= ASTRAY * height


def balance_at(frame: int, body: BodyMotion, centre_of_mass: FloatArray) -> Balance | None:
    """Return the plumb line of one frame; None outside the body's window or without a camera."""
    if body.camera is None or len(body) == 0:
        return None
    row = int(np.argmin(np.abs(body.frame_index - frame)))
    if body.frame_index[row] != frame or not np.all(np.isfinite(centre_of_mass[row])):
        return None
    # The floor: the lowest the feet come in the whole window, not where they are in mid-air.
    feet = body.joints[:, [*CANONICAL_BODY.pair("heel"), *CANONICAL_BODY.pair("toe")]]
    lowest = np.nanmin(feet[..., 2], axis=1)
    if not np.isfinite(lowest).any():
        return None
    level = float(np.nanpercentile(lowest, 10))
    com = np.asarray(centre_of_mass[row], dtype=np.float64)
    rear, front = (
        (body.joint(f"{side}_heel")[row, :2] + body.joint(f"{side}_toe")[row, :2]) / 2
        for side in ("rear", "front")
    )
    base = front - rear
    length = float(np.linalg.norm(base))
    if not length > 0:
        return None
    along = float((com[:2] - rear) @ base) / length**2
    foot = rear + along * base
    floor_points = np.array([com[:2], rear, front, foot])
    world = np.column_stack([floor_points, np.full(4, level)])
    pixels = body.camera.project(np.vstack([com, world]))
    if not np.all(np.isfinite(pixels)):
        return None
    return Balance(
        centre_of_mass=pixels[0],
        floor=pixels[1],
        rear=pixels[2],
        front=pixels[3],
        foot=pixels[4],
        share=1.0 - along,
    )
