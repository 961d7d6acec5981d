"""Body segment parameters: mass shares and centre-of-mass positions.

de Leva P (1996), J Biomech 29(9):1223-1230, Table 4, with the endpoints a camera can see: trunk
from mid-shoulder to mid-hip and shank from knee to ankle joint centre. Young adults only.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.vocabulary import Sex


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment of the table.

    Attributes
    ----------
    mass : float
        Share of body mass of one such segment (one side for limbs), 0..1.
    centre : float
        Centre of mass from the first toward the second endpoint, share of the length.
    """

    mass: float
    centre: float


# Endpoints: vertex and mid-gonion; mid-shoulder and mid-hip; joint centres of the limbs; wrist
# and third metacarpal head; heel and tip of the longest toe.
# name: (mass % female, mass % male, centre % female, centre % male)
_TABLE: dict[str, tuple[float, float, float, float]] = {
    "head": (6.68, 6.94, 58.94, 59.76),
    "trunk": (42.57, 43.46, 37.82, 43.10),
    "upper_arm": (2.55, 2.71, 57.54, 57.72),
    "forearm": (1.38, 1.62, 45.59, 45.74),
    "hand": (0.56, 0.61, 74.74, 79.00),
    "thigh": (14.78, 14.16, 36.12, 40.95),
    "shank": (4.81, 4.33, 43.52, 43.95),
    "foot": (1.29, 1.37, 40.14, 44.15),
}


HAND_TO_FOREARM: dict[Sex, float] = {
    Sex.FEMALE: 78.0 / 264.3,
    Sex.MALE: 86.2 / 268.9,
    Sex.UNKNOWN: (78.0 / 264.3 + 86.2 / 268.9) / 2.0,
}
"""Wrist to third metacarpal head over forearm length (same table): places an unseen hand."""


def table(sex: Sex) -> dict[str, Segment]:
    """Return the segment table of a sex; ``unknown`` is the mean of the two."""
    weight = {Sex.FEMALE: 0.0, Sex.MALE: 1.0, Sex.UNKNOWN: 0.5}[sex]
    result: dict[str, Segment] = {}
    for name, (mass_f, mass_m, centre_f, centre_m) in _TABLE.items():
        result[name] = Segment(
            mass=((1 - weight) * mass_f + weight * mass_m) / 100.0,
            centre=((1 - weight) * centre_f + weight * centre_m) / 100.0,
        )
    return result
