"""Whole-body centre of mass from segment endpoints or from the body's joints."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from models.contract.skeleton import ARM_AND_LEG
from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import FloatArray
from models.contract.vocabulary import Sex
from workers.engine.segments import HAND_TO_FOREARM, table

Endpoints = tuple[FloatArray, FloatArray]


def centre_of_segments(endpoints: Mapping[str, Endpoints], sex: Sex) -> FloatArray:
    """Return the centre of mass of posed segments.

    Parameters
    ----------
    endpoints : mapping of str to (first, second)
        Segment name, with a suffix after ``:`` for the side (``"thigh:rear"``); each endpoint has
        shape (..., d), any unit, any frame. Missing segments are left out and the masses
        renormalised.
    sex : Sex
        Chooses the table.

    Returns
    -------
    ndarray, shape (..., d)
        ``sum(m (P + c (D - P))) / sum(m)`` (de Leva 1996).
    """
    rows = table(sex)
    total: FloatArray | float = 0.0
    mass = 0.0
    for name, (first, second) in endpoints.items():
        segment = rows[name.partition(":")[0]]
        total = total + segment.mass * (first + segment.centre * (second - first))
        mass += segment.mass
    return np.asarray(total / mass)


def body_endpoints(joints: FloatArray, sex: Sex) -> dict[str, Endpoints]:
    """Return the fourteen segments' endpoints of body joints, shape (..., 21, 3).

    Two points are not joints of the body and are placed: the head's centre of mass at the
    mid-point of the ears, and the hand along the forearm (length ratio of the same table).
    """

    def at(name: str) -> FloatArray:
        return BODY.at(joints, name)

    ears, shoulders, hips = (BODY.middle(joints, part) for part in ("ear", "shoulder", "hip"))
    result: dict[str, Endpoints] = {"head": (ears, ears), "trunk": (shoulders, hips)}
    for arm, leg in ARM_AND_LEG:
        shoulder, elbow, wrist = (at(f"{arm}_{j}") for j in ("shoulder", "elbow", "wrist"))
        hip, knee, ankle, heel, toe = (
            at(f"{leg}_{j}") for j in ("hip", "knee", "ankle", "heel", "toe")
        )
        hand = wrist + HAND_TO_FOREARM[sex] * (wrist - elbow)
        result |= {
            f"upper_arm:{arm}": (shoulder, elbow),
            f"forearm:{arm}": (elbow, wrist),
            f"hand:{arm}": (wrist, hand),
            f"thigh:{leg}": (hip, knee),
            f"shank:{leg}": (knee, ankle),
            f"foot:{leg}": (heel, toe),
        }
    return result


def centre_of_mass(joints: FloatArray, sex: Sex) -> FloatArray:
    """Return the whole-body centre of mass, shape (..., 21, 3) -> (..., 3), unit of the input.

    The racket (about half a percent of body weight at arm's length) is left out. Where heel or
    toe is NaN, the foot's mass is placed at the ankle (an error of about 2 mm of the whole
    centre); a NaN elsewhere gives NaN.
    """
    return centre_of_segments(_whole(joints, sex), sex)


def spin_rate(joints: FloatArray, acceleration: FloatArray, sex: Sex) -> FloatArray:
    """Return how fast the angular momentum about the centre of mass changes, per body mass.

    ``sum(m (r - c) x (a - a_c)) / sum(m)`` over the segments' centres. What the segments turn
    about their own centres is left out: on two adults walking over force plates it moved the load
    share by less than half a point.

    Parameters
    ----------
    joints, acceleration : ndarray, shape (..., 21, 3)
        Metres and m/s²; a foot without heel or toe counts at its ankle.

    Returns
    -------
    ndarray, shape (..., 3)
        m²/s².
    """
    places, speeds_up = _whole(joints, sex), _whole(acceleration, sex)
    centre, pull = centre_of_segments(places, sex), centre_of_segments(speeds_up, sex)
    rows = table(sex)
    total: FloatArray | float = 0.0
    mass = 0.0
    for name, (first, second) in places.items():
        segment = rows[name.partition(":")[0]]
        start, end = speeds_up[name]
        arm = first + segment.centre * (second - first) - centre
        total = total + segment.mass * np.cross(arm, start + segment.centre * (end - start) - pull)
        mass += segment.mass
    return np.asarray(total / mass)


def _whole(joints: FloatArray, sex: Sex) -> dict[str, Endpoints]:
    """Return the endpoints of all segments, a foot without heel or toe at its ankle."""
    endpoints = body_endpoints(joints, sex)
    for side in ("front", "rear"):
        ankle = BODY.at(joints, f"{side}_ankle")
        heel, toe = endpoints[f"foot:{side}"]
        unseen = np.isnan(heel) | np.isnan(toe)
        endpoints[f"foot:{side}"] = (np.where(unseen, ankle, heel), np.where(unseen, ankle, toe))
    return endpoints
