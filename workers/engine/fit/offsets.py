"""Where the pose networks put their landmarks and depths, relative to the joint centres.

Networks learn from clicks on the surface, so a landmark is off its joint centre by a nearly
constant amount in the body's own axes: ``out`` = away from the mid-line, ``up`` = along the trunk,
``along`` and ``distal`` = along the segment that ends or begins in the joint, ``foot`` = heel to
toe, ``forward`` = square to trunk and pelvis line. ``..._plane`` goes along the image of the
segment with unit length: against the same axis with the other sign it says that networks draw a
foreshortened segment longer than it looks (a regression to the usual length).

Shares of standing height; least-squares means over the rendered serve clips with known joint
centres (``python -m models.training.rendered.landmark_offsets``). What remains for one person is
estimated in the fit within ``NUISANCE_SD``.
"""

from __future__ import annotations

_BLAZEPOSE: dict[str, dict[str, float]] = {
    "shoulder": {"out": -0.0045, "up": -0.0303, "distal": -0.0053, "up_plane": 0.0375},
    "elbow": {"along": -0.0324, "distal": 0.0295, "along_plane": 0.0121, "distal_plane": -0.0163},
    "wrist": {"along": 0.0009},
    "hip": {
        "out": -0.0188,
        "up": 0.0023,
        "forward": 0.0233,
        "distal": 0.0500,
        "shank": 0.0112,
        "shoulder": 0.0089,
        "distal_plane": -0.0295,
        "vertical": 0.0161,
    },
    "knee": {"along": 0.0137, "distal": 0.0083, "along_plane": -0.0213},
    "ankle": {"along": -0.0217, "foot": 0.0001},
    "heel": {"shank": -0.0065, "foot": -0.0025},
    "toe": {"shank": -0.0063, "foot": -0.0214},
}
_MOVENET: dict[str, dict[str, float]] = {
    "shoulder": {"out": 0.0020, "up": -0.0176, "distal": -0.0070, "up_plane": 0.0316},
    "elbow": {"along": -0.0385, "distal": 0.0212, "along_plane": 0.0212, "distal_plane": -0.0124},
    "wrist": {"along": -0.0006},
    "hip": {
        "out": -0.0142,
        "up": 0.0092,
        "forward": 0.0188,
        "distal": 0.0428,
        "shank": 0.0098,
        "shoulder": 0.0116,
        "distal_plane": -0.0270,
        "vertical": 0.0146,
    },
    "knee": {"along": 0.0157, "distal": -0.0026, "along_plane": -0.0160},
    "ankle": {"along": -0.0170, "foot": -0.0052},
}

LANDMARK_SD: dict[str, float] = {
    "head": 0.016,
    "shoulder": 0.010,
    "elbow": 0.011,
    "wrist": 0.010,
    "hip": 0.012,
    "knee": 0.0075,
    "ankle": 0.0065,
    "heel": 0.009,
    "toe": 0.010,
}
"""Standard deviation of a confident landmark about its mean place, share of standing height."""

NUISANCE: tuple[str, ...] = (
    "hip_out",
    "hip_up",
    "shoulder_out",
    "shoulder_up",
    "elbow_along",
    "wrist_along",
    "knee_along",
    "ankle_along",
)
"""Offsets that stay unknown for a person (clothes, build); estimated within a small prior."""

NUISANCE_SD = 0.005
"""Standard deviation of each, share of standing height."""

_SIDED: dict[tuple[str, str], tuple[float, float, float]] = {
    ("hip", "shoulder"): (1.12, 0.019, 0.070),
    ("shoulder", "elbow"): (1.80, 0.057, 0.143),
    ("elbow", "wrist"): (1.90, 0.052, 0.183),
    ("hip", "knee"): (1.39, -0.001, 0.060),
    ("knee", "ankle"): (0.92, -0.086, 0.049),
    ("heel", "toe"): (2.57, 0.074, 0.090),
}

DEPTH: dict[tuple[str, str], tuple[float, float, float]] = {
    ("right_hip", "left_hip"): (0.86, -0.056, 0.044),
    ("right_shoulder", "left_shoulder"): (0.87, 0.007, 0.062),
} | {
    (f"{side}_{a}", f"{side}_{b}"): values
    for (a, b), values in _SIDED.items()
    for side in ("left", "right")
}
"""Segment -> gain per metre, offset, sd: depth as a share of standing height from the network's own
3D (metres). Sides are the person's own, in the picture as filmed: the network is not symmetric (it
puts the left hip about 0.1 m too far away), so this comes before a left-hander is mirrored. The
network's depth was regressed on the true one and the line inverted, so that extremes are not drawn
to the mean."""

LIFT_DEPTH_SD: dict[tuple[str, str], float] = {
    ("hip", "hip"): 0.014,
    ("shoulder", "shoulder"): 0.021,
    ("hip", "shoulder"): 0.020,
    ("shoulder", "elbow"): 0.018,
    ("elbow", "wrist"): 0.027,
    ("hip", "knee"): 0.020,
    ("knee", "ankle"): 0.024,
    ("heel", "toe"): 0.019,
}
"""Standard deviation of the depths that the learned lift states, share of standing height: root
mean square over 26 rendered films not trained on, from half a second before trophy to contact."""


def mean_offset(network: str, kind: str) -> dict[str, float]:
    """Return the mean offsets of one landmark by direction, shares of standing height."""
    if "blazepose" in network:
        return _BLAZEPOSE.get(kind, {})
    if "movenet" in network:
        return _MOVENET.get(kind, {})
    if network == "fused":
        both = _BLAZEPOSE.get(kind, {}), _MOVENET.get(kind, {})
        return {k: (both[0].get(k, 0.0) + both[1].get(k, 0.0)) / 2 for d in both for k in d}
    return {}
