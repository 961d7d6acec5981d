"""Where the pose networks put their landmarks and depths, relative to the joint centres.

Networks learn from clicks on the surface, so a landmark is off its joint centre by a nearly
constant amount in the body's own axes: ``out`` = away from the mid-line, ``up`` = along the trunk,
``along`` and ``distal`` = along the segment that ends or begins in the joint, ``foot`` = heel to
toe, ``forward`` = square to trunk and pelvis line. ``..._plane`` goes along the image of the
segment with unit length: against the same axis with the other sign it says that networks draw a
foreshortened segment longer than it looks (a regression to the usual length).

Shares of standing height; least-squares means over the rendered serve clips with known joint
centres (``python -m models.training.rendered.landmark_offsets``). They are learned data
(`workers.learned` reads them). What remains for one person is estimated in the fit within
``NUISANCE_SD``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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

_SIDED = (
    ("hip", "shoulder"),
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("hip", "knee"),
    ("knee", "ankle"),
    ("heel", "toe"),
)

DEPTHS: tuple[tuple[str, str], ...] = (
    ("right_hip", "left_hip"),
    ("right_shoulder", "left_shoulder"),
    *((f"{side}_{a}", f"{side}_{b}") for a, b in _SIDED for side in ("left", "right")),
)
"""Segments whose depth the network's own 3D states, weakly; sides are the person's own."""


@dataclass(frozen=True, slots=True)
class LandmarkErrors:
    """Where pose networks put their landmarks and depths, and how surely.

    Attributes
    ----------
    offsets : mapping
        Family of networks (``blazepose``, ``movenet``) to kind of landmark to direction to mean
        offset, shares of standing height.
    sd : mapping
        Kind of landmark to the standard deviation of a confident one about its mean place, share
        of standing height.
    depth : mapping
        Segment of `DEPTHS` to gain per metre, offset, sd: depth as a share of standing height
        from the network's own 3D (metres). Sides are the person's own, in the picture as filmed:
        the network is not symmetric (it puts the left hip about 0.1 m too far away), so this
        comes before a left-hander is mirrored. The network's depth was regressed on the true one
        and the line inverted, so that extremes are not drawn to the mean.
    """

    offsets: Mapping[str, Mapping[str, Mapping[str, float]]]
    sd: Mapping[str, float]
    depth: Mapping[tuple[str, str], tuple[float, float, float]]

    def mean_offset(self, network: str, kind: str) -> Mapping[str, float]:
        """Return the mean offsets of one landmark by direction, shares of standing height."""
        for family, table in self.offsets.items():
            if family in network:
                return table.get(kind, {})
        if network == "fused":
            parts = [table.get(kind, {}) for table in self.offsets.values()]
            keys = {key: None for part in parts for key in part}
            return {key: sum(part.get(key, 0.0) for part in parts) / len(parts) for key in keys}
        return {}
