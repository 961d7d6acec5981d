"""Whole-body centre of mass from segment endpoints or from the body's joints."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import BODY_JOINTS, Sex
from workers.engine.segments import HAND_TO_FOREARM, table

Endpoints = tuple[FloatArray, FloatArray]
_INDEX = {name: i for i, name in enumerate(BODY_JOINTS)}


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
        return np.asarray(joints[..., _INDEX[name], :])

    ears = (at("left_ear") + at("right_ear")) / 2.0
    shoulders = (at("left_shoulder") + at("right_shoulder")) / 2.0
    hips = (at("left_hip") + at("right_hip")) / 2.0
    result: dict[str, Endpoints] = {"head": (ears, ears), "trunk": (shoulders, hips)}
    for side in ("left", "right"):
        shoulder, elbow, wrist = (at(f"{side}_{j}") for j in ("shoulder", "elbow", "wrist"))
        hip, knee, ankle = (at(f"{side}_{j}") for j in ("hip", "knee", "ankle"))
        hand = wrist + HAND_TO_FOREARM[sex] * (wrist - elbow)
        result |= {
            f"upper_arm:{side}": (shoulder, elbow),
            f"forearm:{side}": (elbow, wrist),
            f"hand:{side}": (wrist, hand),
            f"thigh:{side}": (hip, knee),
            f"shank:{side}": (knee, ankle),
            f"foot:{side}": (at(f"{side}_heel"), at(f"{side}_toe")),
        }
    return result


def centre_of_mass(joints: FloatArray, sex: Sex) -> FloatArray:
    """Return the whole-body centre of mass, shape (..., 21, 3) -> (..., 3), unit of the input.

    The racket (about half a percent of body weight at arm's length) is left out. Where heel or
    toe is NaN, the foot's mass is placed at the ankle (an error of about 2 mm of the whole
    centre); a NaN elsewhere gives NaN.
    """
    endpoints = body_endpoints(joints, sex)
    for side in ("left", "right"):
        ankle = joints[..., _INDEX[f"{side}_ankle"], :]
        heel, toe = endpoints[f"foot:{side}"]
        unseen = np.isnan(heel) | np.isnan(toe)
        endpoints[f"foot:{side}"] = (np.where(unseen, ankle, heel), np.where(unseen, ankle, toe))
    return centre_of_segments(endpoints, sex)
