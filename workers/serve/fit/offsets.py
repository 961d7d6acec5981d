"""Where the pose networks put their landmarks and depths, relative to the joint centres.

Networks learn from clicks on the surface, so a landmark is off its joint centre by a nearly
constant amount in the body's own axes: ``out`` = away from the mid-line, ``up`` = along the trunk,
``along`` and ``distal`` = along the segment that ends or begins in the joint, ``foot`` = heel to
toe, ``forward`` = square to trunk and pelvis line. ``..._plane`` goes along the image of the
segment with unit length: against the same axis with the other sign it says that networks draw a
foreshortened segment longer than it looks (a regression to the usual length).

Shares of standing height; least-squares means over the rendered serve clips with known joint
centres. What remains for one person is estimated in the fit within ``NUISANCE_SD``.
"""

from __future__ import annotations

_BLAZEPOSE: dict[str, dict[str, float]] = {
    "shoulder": {"out": -0.0043, "up": -0.0328, "up_plane": 0.0402, "distal": -0.0051},
    "elbow": {"along": -0.0319, "along_plane": 0.0128, "distal": 0.0300, "distal_plane": -0.0179},
    "hip": {
        "out": -0.0220,
        "up": 0.0040,
        "forward": 0.0220,
        "distal": 0.0564,
        "distal_plane": -0.0326,
        "shank": 0.0115,
        "shoulder": 0.0118,
        "vertical": 0.0182,
    },
    "knee": {"along": 0.0166, "along_plane": -0.0249, "distal": 0.0085},
    "ankle": {"along": -0.0214},
    "heel": {"foot": -0.0034, "shank": -0.0060},
    "toe": {"foot": -0.0212, "shank": -0.0038},
}
_MOVENET: dict[str, dict[str, float]] = {
    "shoulder": {"out": 0.0015, "up": -0.0216, "up_plane": 0.0356, "distal": -0.0069},
    "elbow": {"along": -0.0397, "along_plane": 0.0222, "distal": 0.0240, "distal_plane": -0.0153},
    "wrist": {"along": -0.0017},
    "hip": {
        "out": -0.0150,
        "up": 0.0113,
        "forward": 0.0178,
        "distal": 0.0495,
        "distal_plane": -0.0342,
        "shank": 0.0102,
        "shoulder": 0.0124,
        "vertical": 0.0128,
    },
    "knee": {"along": 0.0139, "along_plane": -0.0153, "distal": -0.0020},
    "ankle": {"along": -0.0174, "foot": -0.0047},
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
    ("hip", "shoulder"): (1.0, 0.014, 0.056),
    ("shoulder", "elbow"): (1.5, 0.030, 0.130),
    ("elbow", "wrist"): (1.5, 0.020, 0.120),
    ("hip", "knee"): (1.2, 0.0, 0.056),
    ("knee", "ankle"): (0.9, -0.086, 0.050),
    ("heel", "toe"): (2.8, 0.086, 0.095),
}

DEPTH: dict[tuple[str, str], tuple[float, float, float]] = {
    ("right_hip", "left_hip"): (0.86, -0.057, 0.044),
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
