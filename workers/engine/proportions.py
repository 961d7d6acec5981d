"""Lengths of the body as shares of standing height: priors of the kinematic fit.

Means are between the young-adult tables of de Leva (1996), J Biomech 29(9):1223-1230 (thigh 0.212 F
/ 0.243 M, shank 0.253, upper arm 0.159-0.162, forearm 0.152-0.155, mid-shoulder to mid-hip
0.287-0.296 of standing height) and joint centres of the CC0 body mesh the rendered clips are made
with (thigh 0.240-0.247, shank 0.244-0.249, upper arm 0.156, forearm 0.131-0.150, trunk
0.272-0.275). Hip breadth is that of hip centres by regression from the bony pelvis (0.103 on the
mesh, 0.102 on the man of the laboratory films). Other breadths, foot and head are anthropometric
working values (common practice, no source). Standard deviations cover the spread between
those two and between people.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray

LENGTHS: tuple[str, ...] = (
    "pelvis",
    "shoulders",
    "upper_arm",
    "forearm",
    "thigh",
    "shank",
    "toe",
    "heel",
    "head",
    "trunk",
    "foot",
)
"""Hip breadth, shoulder breadth (joint centres), segments, ankle to toe tip, ankle to heel,
mid-shoulder to mid-ear, mid-hip to mid-shoulder, heel to toe tip."""

_MEAN_SD: dict[str, tuple[float, float]] = {
    "pelvis": (0.105, 0.010),
    "shoulders": (0.209, 0.009),
    "upper_arm": (0.157, 0.005),
    "forearm": (0.147, 0.007),
    "thigh": (0.245, 0.006),
    "shank": (0.248, 0.004),
    "toe": (0.121, 0.005),
    "heel": (0.033, 0.004),
    "head": (0.118, 0.012),
    "trunk": (0.274, 0.008),
    "foot": (0.139, 0.006),
}

ANKLE_HEIGHT = 0.0438
"""Ankle joint centre over the floor with the foot flat, share of standing height."""

SOLE_HEIGHT = 0.011
"""Skin point of the toe tip over the floor, share of standing height."""

HEEL_HEIGHT = 0.021
"""Skin point of the heel over the floor with the foot flat, share of standing height."""

POPULATION_STATURE_M = 1.75
"""Standing height assumed when none is given, metres: adults of both sexes (common practice, no
source)."""

POPULATION_STATURE_SD_M = 0.09
"""Standard deviation of it between adults of both sexes, metres (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Proportions:
    """Body lengths as shares of standing height, in the order of `LENGTHS`.

    Attributes
    ----------
    mean, sd : ndarray, shape (11,)
        Dimensionless.
    """

    mean: FloatArray
    sd: FloatArray

    @classmethod
    def population(cls) -> Proportions:
        """Return the prior for a person of whom only the standing height is known."""
        values = np.array([_MEAN_SD[name] for name in LENGTHS])
        return cls(values[:, 0], values[:, 1])

    def __getitem__(self, name: str) -> float:
        return float(self.mean[LENGTHS.index(name)])
