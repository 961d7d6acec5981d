"""The body on the court: points of the feet, where the floor is, balance; all as linear maps."""

from __future__ import annotations

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.vocabulary import Sex
from workers.engine.fit.observations import LinearMap
from workers.engine.fit.skeleton import POINTS, point
from workers.engine.mass import centre_of_mass
from workers.engine.proportions import ANKLE_HEIGHT, HEEL_HEIGHT, SOLE_HEIGHT

FEET = ("front_toe", "rear_toe", "front_heel", "rear_heel", "front_ankle", "rear_ankle")
FLOOR = np.array([SOLE_HEIGHT] * 2 + [HEEL_HEIGHT] * 2 + [ANKLE_HEIGHT] * 2)
FLOOR_SD = np.array([0.012, 0.012, 0.012, 0.012, 0.010, 0.010])
"""Standard deviations of these heights, metres (working values)."""
SLIP_SD = 0.015
"""How far a standing foot slips, as a random walk: metres per square root of a second (working
value)."""

BALANCE_SD = 0.018
"""A standing body's centre of mass over the middle of its feet, across the stance, share of
standing height: it cannot leave the feet. Rendered serves: 0.003-0.012; people sway more."""


def pick(points: LinearMap, names: tuple[str, ...]) -> LinearMap:
    """Return the map to some points."""
    index = [point(n) for n in names]
    return LinearMap(points.constant[index], points.per_shared[:, index])


def balance_map(points: LinearMap) -> LinearMap:
    """Return the map to the centre of mass less the middle of heels and toes, one row."""
    weights = np.zeros(len(POINTS))
    for i, name in enumerate(POINTS):
        joints = np.zeros((len(BODY), 3))
        marked = BODY.both("ear") if name == "head" else (name,)
        joints[BODY.rows(marked)] = 1.0
        weights[i] = centre_of_mass(joints, Sex.UNKNOWN)[0]
    for name in FEET[:4]:
        weights[point(name)] -= 0.25
    return points.take(weights[None])


def pair_map(points: LinearMap, pairs: tuple[tuple[str, str], ...]) -> LinearMap:
    """Return the map to the second less the first point of each pair."""
    first = pick(points, tuple(a for a, _ in pairs))
    second = pick(points, tuple(b for _, b in pairs))
    return LinearMap(second.constant - first.constant, second.per_shared - first.per_shared)
