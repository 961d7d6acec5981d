"""Proportions of the synthetic body: joint offsets in segment frames, and a sampler of people.

Segment lengths are scaled from the reference male and female of de Leva (1996), J Biomech
29(9):1223-1230, Table 4 (transcribed in `LENGTHS_MM`), with a random factor per segment; shoulder
and hip breadths, foot and head points are plain anthropometric working values (common practice, no
source). `body.py` builds the same class from a body mesh.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: de Leva (1996), Table 4: (female, male) lengths in mm for bodies of 1735 and 1741 mm.
LENGTHS_MM = {
    "trunk": (497.9, 515.5),
    "upper_arm": (275.1, 281.7),
    "forearm": (264.3, 268.9),
    "hand": (78.0, 86.2),
    "thigh": (368.5, 422.2),
    "shank": (438.6, 440.3),
    "foot": (228.3, 258.1),
    "head": (243.7, 242.9),
}
STATURE_MM = (1735.0, 1741.0)


@dataclass(frozen=True)
class Skeleton:
    """Offsets in metres, each in the frame of the segment that carries it (left side; mirror y
    for right).

    `height` is the standing height; `gender` 0 = male, 1 = female chooses the segment table.
    """

    height: float
    gender: float
    hip: Array  # mid-hip -> left hip, pelvis frame
    lumbar: Array  # mid-hip -> lower spine joint, pelvis frame
    spine: Array  # lower spine joint -> mid spine joint
    chest: Array  # mid spine joint -> chest joint
    neck: Array  # chest joint -> neck base, thorax frame
    clavicle: Array  # chest joint -> left clavicle joint, thorax frame
    shoulder: Array  # clavicle joint -> left shoulder, clavicle frame
    skull: Array  # neck base -> head joint, neck frame
    upper_arm: float
    forearm: float
    hand: float
    thigh: float
    shank: float
    ball: Array  # ankle -> ball of the left foot, foot frame
    heel: Array  # ankle -> heel, foot frame
    toe: Array  # ball -> tip of the toes, toe frame
    face: dict[str, Array]  # head joint -> nose, left_eye, left_ear, vertex, head frame
    phenotype: dict[str, float] = field(default_factory=dict)
    sole: float | None = None  # ball joint over the floor with the foot flat, where a mesh gives it

    @property
    def leg(self) -> float:
        """Thigh plus shank, metres."""
        return self.thigh + self.shank

    @property
    def ankle_height(self) -> float:
        """Height of the ankle joint over the floor with the foot flat."""
        return self.ball_height - float(self.ball[2])

    @property
    def ball_height(self) -> float:
        """Height of the ball joint over the floor with the foot flat: the sole's lowest point is at
        zero.
        """
        if self.sole is not None:
            return self.sole
        lowest = min(float(self.heel[2] - self.ball[2]), float(self.toe[2]))
        return SOLE - lowest


#: skin points on the heel and the toe tip lie this far above the ground, metres
SOLE = 0.018


def sample_skeleton(rng: np.random.Generator) -> Skeleton:
    """A person of random sex, height 1.50-2.00 m and proportions."""
    gender = float(rng.random() < 0.4)
    height = float(np.clip(rng.normal(1.83 - 0.11 * gender, 0.07), 1.50, 2.02))
    pick = 0 if gender else 1
    scale = height * 1000.0 / STATURE_MM[pick]
    length = {
        k: float(v[pick] * scale / 1000.0 * np.clip(rng.normal(1.0, 0.03), 0.92, 1.08))
        for k, v in LENGTHS_MM.items()
    }
    hips = height * float(rng.uniform(0.052, 0.066))
    shoulders = height * float(rng.uniform(0.098, 0.110)) * (0.94 if gender else 1.0)
    trunk = length["trunk"]
    foot = length["foot"]
    ankle = 0.043 * height
    ball_z = 0.030 * height / 1.8 - ankle
    head = height * float(rng.uniform(0.95, 1.05))
    girdle = np.array([0.02, 0.02, 0.30 * trunk])  # chest joint -> clavicle
    chest_to_shoulder = np.array([-0.01, shoulders - 0.02, 0.02])
    to_mid_shoulder = girdle[2] + chest_to_shoulder[2]
    rest = trunk - to_mid_shoulder
    skeleton = Skeleton(
        height=height,
        gender=gender,
        hip=np.array([0.0, hips, 0.0]),
        lumbar=np.array([-0.01, 0.0, 0.30 * rest]),
        spine=np.array([-0.01, 0.0, 0.35 * rest]),
        chest=np.array([0.0, 0.0, 0.35 * rest]),
        neck=np.array([-0.005, 0.0, to_mid_shoulder + 0.045 * height]),
        clavicle=girdle,
        shoulder=chest_to_shoulder,
        skull=np.array([0.025, 0.0, 0.035 * height]),
        upper_arm=length["upper_arm"],
        forearm=length["forearm"],
        hand=length["hand"],
        thigh=length["thigh"],
        shank=length["shank"],
        ball=np.array([0.50 * foot, 0.0, ball_z]),
        heel=np.array([-0.24 * foot, 0.0, SOLE - ankle]),
        toe=np.array([0.26 * foot, 0.0, SOLE - (ankle + ball_z)]),
        face={
            "nose": np.array([0.062, 0.0, 0.030]) * head,
            "left_eye": np.array([0.046, 0.018, 0.050]) * head,
            "left_ear": np.array([0.0, 0.043, 0.042]) * head,
            "vertex": np.array([0.0, 0.0, 0.110]) * head,
        },
    )
    return with_true_height(skeleton)


def standing_height(s: Skeleton) -> float:
    """Floor to the top of the head with every joint straight, metres."""
    spine = s.lumbar[2] + s.spine[2] + s.chest[2] + s.neck[2] + s.skull[2] + s.face["vertex"][2]
    return float(s.ankle_height + s.leg + spine)


def with_true_height(s: Skeleton) -> Skeleton:
    """The same person with `height` set to what the segments add up to."""
    values = {f: getattr(s, f) for f in s.__dataclass_fields__}
    values["height"] = standing_height(s)
    return Skeleton(**values)
