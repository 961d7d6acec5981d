"""Bony points as named vertices of the body mesh, and the joint centres that follow from them.

The vertices were chosen on pictures of the rest mesh (lean man and woman, shaded and coloured by
curvature): the iliac spines at the upper end of the groin crease and in the dimples over the
sacrum, the epicondyles and styloids on the joint's axis, the malleoli at their greatest breadth,
the acromion on top of the shoulder where a marker is put. Where a bony point falls between
vertices it is their mean. Axes: x forward, y left, z up; metres.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .rotation import Array, cross, unit

#: name -> (vertices on the left, vertices on the right) of the triangulated full-body mesh
VERTICES: dict[str, tuple[tuple[int, ...], tuple[int, ...]]] = {
    "asis": ((10915, 10872), (4302, 4258)),
    "psis": ((10799,), (4176,)),
    "lateral_femoral_epicondyle": ((11216,), (4614,)),
    "medial_femoral_epicondyle": ((11204, 11223), (4602, 4621)),
    "lateral_malleolus": ((11412,), (4810,)),
    "medial_malleolus": ((12907,), (6326,)),
    "acromion": ((8219, 8220), (1557, 1558)),
    "lateral_humeral_epicondyle": ((10023, 10024), (3371, 3372)),
    "medial_humeral_epicondyle": ((10029, 10047), (3377, 3395)),
    "radial_styloid": ((10533, 10406), (3884, 3755)),
    "ulnar_styloid": ((10523, 10201), (3874, 3549)),
}
#: joints that lie midway between two bony points of their side (ISB recommendations: lower limb
#: J Biomech 2002, doi 10.1016/S0021-9290(01)00222-6; arm J Biomech 2005, doi
#: 10.1016/j.jbiomech.2004.05.042)
MIDWAY = {
    "knee": ("lateral_femoral_epicondyle", "medial_femoral_epicondyle"),
    "ankle": ("lateral_malleolus", "medial_malleolus"),
    "elbow": ("lateral_humeral_epicondyle", "medial_humeral_epicondyle"),
    "wrist": ("radial_styloid", "ulnar_styloid"),
}
#: shoulder centre below the acromion, share of the distance between the acromia (Gait Posture
#: 2002, doi 10.1016/S0966-6362(01)00155-2; from memory)
_SHOULDER_DROP = 0.17


def bony_points(vertices: Array) -> dict[str, Array]:
    """Bony points of a rest mesh (V, 3), as `L_asis`, `R_asis`, ... -> (3,)."""
    out = {}
    for name, sides in VERTICES.items():
        for side, chosen in zip("LR", sides, strict=True):
            out[f"{side}_{name}"] = np.asarray(vertices[list(chosen)].mean(axis=0))
    return out


def joint_centres(points: Mapping[str, Array]) -> dict[str, Array]:
    """Centres of hips, knees, ankles, shoulders, elbows and wrists, as `L_hip`, ... -> (3,)."""
    out = hip_centres(points)
    out |= shoulder_centres(points)
    for joint, (one, other) in MIDWAY.items():
        for side in "LR":
            out[f"{side}_{joint}"] = 0.5 * (points[f"{side}_{one}"] + points[f"{side}_{other}"])
    return out


def hip_centres(points: Mapping[str, Array]) -> dict[str, Array]:
    """Hip joint centres from the iliac spines (J Biomech 2007, doi
    10.1016/j.jbiomech.2006.02.003): the equations in pelvic width and depth, in millimetres.
    """
    left, right = points["L_asis"], points["R_asis"]
    front = 0.5 * (left + right)
    back = 0.5 * (points["L_psis"] + points["R_psis"])
    across = unit(left - right)
    ahead = unit((front - back) - ((front - back) @ across) * across)
    up = cross(ahead, across)
    width = 1000.0 * float(np.linalg.norm(left - right))
    depth = 1000.0 * float(np.linalg.norm(front - back))
    middle = front + (ahead * (-0.24 * depth - 9.9) + up * (-0.30 * width - 10.9)) / 1000.0
    half = across * (0.33 * width + 7.3) / 1000.0
    return {"L_hip": middle + half, "R_hip": middle - half}


def shoulder_centres(points: Mapping[str, Array]) -> dict[str, Array]:
    """Shoulder joint centres under the acromia of an upright trunk."""
    left, right = points["L_acromion"], points["R_acromion"]
    drop = np.array([0.0, 0.0, _SHOULDER_DROP * float(np.linalg.norm(left - right))])
    return {"L_shoulder": left - drop, "R_shoulder": right - drop}
