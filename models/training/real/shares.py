"""Load shares of the engine's formulas against force plates, from joints by markers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.vocabulary import Sex
from models.training.real.lab import Array
from models.training.real.plates import Walk
from workers.engine.load import dynamic_share, foot_point, static_share
from workers.engine.mass import centre_of_mass, spin_rate
from workers.engine.samples import LOAD_DEGREE, LOAD_HALF_WIDTH_S
from workers.engine.smoothing import local_operators

Points = Callable[[Walk], tuple[Array, Array]]
"""Right and left point of the feet, each (T, 3)."""


@dataclass(frozen=True)
class ShareErrors:
    """A share against the plates: rear share, points of body weight."""

    name: str
    subject: str
    count: int
    slope: float
    error: float
    bias: float
    p95: float


def pressing(walk: Walk) -> tuple[Array, Array]:
    """Return where the feet press, by the engine's definition."""
    right, left = (
        foot_point(
            BODY.at(walk.joints, f"{leg}_heel"), BODY.at(walk.joints, f"{leg}_toe"), rise,
            walk.stature_m,
        )
        for leg, rise in zip(("rear", "front"), walk.flat_rise_m, strict=True)
    )  # fmt: skip
    return right, left


def ankles(walk: Walk) -> tuple[Array, Array]:
    """Return the ankles, between which weight was counted before."""
    return BODY.at(walk.joints, "rear_ankle"), BODY.at(walk.joints, "front_ankle")


def middles(walk: Walk) -> tuple[Array, Array]:
    """Return the middles from heel to toe, whatever the foot does."""
    right, left = (
        (BODY.at(walk.joints, f"{leg}_heel") + BODY.at(walk.joints, f"{leg}_toe")) / 2
        for leg in ("rear", "front")
    )
    return right, left


def posture(walk: Walk, points: Points = pressing) -> Array:
    """Return the share over the right foot by posture."""
    return static_share(centre_of_mass(walk.joints, Sex.MALE), *points(walk))


def movement(
    walk: Walk,
    points: Points = pressing,
    *,
    half_width_s: float = LOAD_HALF_WIDTH_S,
    degree: int = LOAD_DEGREE,
    spin: bool = True,
) -> Array:
    """Return the share on the right foot by movement."""
    operator = local_operators(walk.time_s, half_width_s, degree)[2]
    flat = walk.joints.reshape(len(walk.time_s), -1)
    acceleration = (operator @ flat).reshape(walk.joints.shape)
    return dynamic_share(
        centre_of_mass(walk.joints, Sex.MALE),
        centre_of_mass(acceleration, Sex.MALE),
        *points(walk),
        0.0,
        spin_rate(walk.joints, acceleration, Sex.MALE) if spin else None,
    )


WAYS: dict[str, Callable[[Walk], Array]] = {
    "by posture (ankles, as before)": lambda w: posture(w, ankles),
    "by posture (the engine's)": posture,
    "by movement (ankles, quadratic 0.12 s, point mass, as before)": lambda w: movement(
        w, ankles, half_width_s=0.12, degree=2, spin=False
    ),
    "by movement (middles of the feet)": lambda w: movement(w, middles),
    "by movement (point mass)": lambda w: movement(w, spin=False),
    "by movement (the engine's)": movement,
}


def against_plates(walks: Sequence[Walk]) -> list[ShareErrors]:
    """Return every way of counting against the plates, each subject and both together."""
    found: list[ShareErrors] = []
    for name, way in WAYS.items():
        pairs: dict[str, tuple[Array, Array]] = {}
        for walk in walks:
            both = walk.both_stand
            right = np.divide(
                walk.right_n, walk.right_n + walk.left_n, out=np.zeros_like(walk.right_n),
                where=both,
            )  # fmt: skip
            true, seen = walk.rear_share(right)[both], walk.rear_share(way(walk))[both]
            pairs[walk.subject] = (true, seen)
        true, seen = (np.concatenate([pair[i] for pair in pairs.values()]) for i in (0, 1))
        pairs["both"] = (true, seen)
        for subject, (true, seen) in pairs.items():
            off = 100.0 * (seen - true)
            found.append(
                ShareErrors(
                    name, subject, len(off), float(np.polyfit(true, seen, 1)[0]),
                    float(np.mean(np.abs(off))), float(np.mean(off)),
                    float(np.percentile(np.abs(off), 95)),
                )
            )  # fmt: skip
    return found
