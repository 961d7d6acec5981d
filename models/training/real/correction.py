"""The landmark correction and its uncertainty that rendered bodies and a real man both allow.

Two sources say how far a landmark lies from its joint along an axis of the body: rendered films
with known joints, and the man of the laboratory films. One man teaches nothing about other people,
but he may refuse: where he disagrees in sign the correction falls to nothing, where he agrees the
smaller of the two is taken. So he never makes a correction, nor enlarges one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.training.real.landmarks import BOTH, Error
from models.training.rendered.landmark_offsets import LARGEST, Clip
from workers.engine.fit.offsets import LandmarkErrors

AXES: dict[str, tuple[str, ...]] = {
    "hip": ("out", "up", "forward"),
    "shoulder": ("out", "up"),
    "elbow": ("along",),
    "knee": ("along",),
    "ankle": ("along",),
}
"""Few axes: more of them describe one generator's postures."""
RIDGE = 0.05
SMALLEST = 0.001
"""Corrections below this share of stature are left out."""
Offsets = dict[str, dict[str, dict[str, float]]]


def of_rendered(clips: Sequence[Clip], hip_shift: tuple[float, float, float]) -> Offsets:
    """Return the mean offsets on rendered films, shares of stature.

    ``hip_shift`` moves their true hips outward, up and forward first: an animation rig's hips are
    not a person's.
    """
    table: Offsets = {}
    for network in clips[0].track.sources:
        family = table.setdefault(network.partition("_")[0], {})
        for kind, axes in AXES.items():
            rows, right = [], []
            for clip in clips:
                for side in ("left", "right"):
                    a, b = _system(clip, network, kind, side, axes, hip_shift)
                    rows.append(a)
                    right.append(b)
            family[kind] = _solved(np.concatenate(rows), np.concatenate(right), axes)
    return table


def _system(
    clip: Clip,
    network: str,
    kind: str,
    side: str,
    axes: Sequence[str],
    hip_shift: tuple[float, float, float],
) -> tuple[np.ndarray, np.ndarray]:
    from models.contract.skeleton import LANDMARKS

    ways = clip.directions(kind, side)
    point = clip.joints[f"{side}_{kind}"]
    if kind == "hip":
        moved = sum(d * ways[n] for d, n in zip(hip_shift, ("out", "up", "forward"), strict=True))
        point = point + clip.height * moved
    cam = point @ clip.R.T + clip.t
    true = cam[:, :2] / cam[:, 2:] * clip.K[0, 0] + clip.K[:2, 2] + clip.shake
    seen = np.asarray(clip.track.sources[network][clip.rows, LANDMARKS.index(f"{side}_{kind}"), :2])
    error = (seen - true) * cam[:, 2:] / clip.K[0, 0] / clip.height
    good = np.isfinite(error).all(axis=1) & (np.abs(error).max(axis=1, initial=0.0) < LARGEST)
    flat = np.stack([(ways[axis] @ clip.R.T)[:, :2] for axis in axes], axis=-1)
    return flat[good].reshape(-1, len(axes)), error[good].reshape(-1)


def of_man(found: Sequence[Error]) -> Offsets:
    """Return the same offsets of the man of the laboratory films."""
    table: Offsets = {}
    for network in sorted({one.network for one in found} - {BOTH}):
        family = table.setdefault(network.partition("_")[0], {})
        for kind, axes in AXES.items():
            mine = [one for one in found if (one.network, one.kind) == (network, kind)]
            mine = [one for one in mine if all(axis in one.axes for axis in axes)]
            if mine:
                rows = np.concatenate([np.stack([m.axes[a] for a in axes], axis=1) for m in mine])
                family[kind] = _solved(rows, np.concatenate([m.raw for m in mine]), axes)
    return table


def agreed(rendered: Offsets, man: Offsets) -> Offsets:
    """Return what both sources say: the smaller of each pair of one sign, else nothing."""
    table: Offsets = {}
    for family, kinds in rendered.items():
        for kind, shares in kinds.items():
            his = man.get(family, {}).get(kind, {})
            kept = {
                axis: round(float(np.sign(share) * min(abs(share), abs(his.get(axis, 0.0)))), 4)
                for axis, share in shares.items()
                if share * his.get(axis, 0.0) > 0.0
            }
            kept = {axis: share for axis, share in kept.items() if abs(share) >= SMALLEST}
            table.setdefault(family, {})[kind] = kept
    return table


def widened(known: LandmarkErrors, found: Sequence[Error]) -> dict[str, float]:
    """Return the landmark uncertainties, widened where the man's errors are larger.

    Each coordinate's root mean square over both networks after correction, confidence taken out;
    never less than before.
    """
    table = dict(known.sd)
    for kind in AXES:
        ratios = [
            np.mean(one.left**2) * (known.sd[kind] / one.sd) ** 2
            for one in found
            if one.kind == kind and one.network != BOTH
        ]
        if ratios:
            table[kind] = round(max(table[kind], float(np.sqrt(np.mean(ratios)))), 4)
    return table


def _solved(rows: np.ndarray, right: np.ndarray, axes: Sequence[str]) -> dict[str, float]:
    values = np.linalg.solve(rows.T @ rows + RIDGE * np.eye(len(axes)), rows.T @ right)
    return {axis: float(v) for axis, v in zip(axes, values, strict=True)}
