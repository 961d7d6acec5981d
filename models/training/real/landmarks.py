"""Landmark against joint centre on the laboratory films, raw and as the engine corrects them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.contract.skeleton import LANDMARKS, part_of
from models.training.real.lab import Array, LabCamera, Laboratory, Posture
from workers.engine.fit.offsets import LandmarkErrors

BOTH = "both"
"""What the engine uses: the networks' corrected landmarks by their stated weights."""
Z95 = 1.96
LEAST_SHORTENED = 0.15
"""As in the fit: a direction along the picture is not stretched beyond this foreshortening."""

Seen = Mapping[tuple[str, int, str], Array]
"""(camera, frame, network) to landmarks (33, 3): x, y in pixels, confidence."""


@dataclass(frozen=True)
class Error:
    """One landmark of one network in one picture; errors and sd as shares of stature.

    ``raw`` and ``left`` (after correction) are (2,), right and down; ``axes`` holds the picture of
    each direction of the body, shares of stature per share.
    """

    camera: str
    frame: int
    joint: str
    network: str
    raw: Array
    left: Array
    sd: float
    axes: Mapping[str, Array]

    @property
    def kind(self) -> str:
        """``hip``, ``knee``, ..."""
        return part_of(self.joint)


def errors(laboratory: Laboratory, seen: Seen, known: LandmarkErrors) -> list[Error]:
    """Return the errors of every landmark with a known centre, each network's and both."""
    found = list(_single(laboratory, seen, known))
    groups: dict[tuple[str, int, str], list[Error]] = {}
    for one in found:
        groups.setdefault((one.camera, one.frame, one.joint), []).append(one)
    return found + [_together(group) for group in groups.values()]


def _single(laboratory: Laboratory, seen: Seen, known: LandmarkErrors) -> Iterator[Error]:
    cameras = {camera.name: camera for camera in laboratory.cameras}
    postures = {posture.frame: posture for posture in laboratory.postures}
    for (camera, frame, network), values in seen.items():
        for joint, centre in postures[frame].centres.items():
            cell = values[LANDMARKS.index(joint)]
            if not np.isfinite(cell[:2]).all():
                continue
            pixel, scale = cameras[camera].project(centre)
            raw = (cell[:2] - pixel) * scale / laboratory.stature_m
            axes = _axes(cameras[camera], postures[frame], joint)
            yield Error(
                camera, frame, joint, network, raw, raw - correction(known, network, joint, axes),
                stated_sd(known, joint, float(cell[2])), axes,
            )  # fmt: skip


def _axes(camera: LabCamera, posture: Posture, joint: str) -> dict[str, Array]:
    axes: dict[str, Array] = {}
    for name, way in posture.directions(joint).items():
        flat = (camera.R @ way)[:2]
        axes[name] = flat
        axes[f"{name}_plane"] = flat / max(float(np.linalg.norm(flat)), LEAST_SHORTENED)
    return axes


def correction(known: LandmarkErrors, network: str, joint: str, axes: Mapping[str, Array]) -> Array:
    """Return the engine's mean offset of a landmark in the picture, shares of stature."""
    shares = known.mean_offset(network, part_of(joint))
    return sum((axes[k] * v for k, v in shares.items() if k in axes), np.zeros(2))


def stated_sd(known: LandmarkErrors, joint: str, confidence: float) -> float:
    """Return the standard deviation of each coordinate that the fit takes a landmark to have."""
    return known.sd[part_of(joint)] * (1.0 + 3.0 * (1.0 - min(max(confidence, 0.0), 1.0)) ** 2)


def _together(group: Sequence[Error]) -> Error:
    weight = np.array([one.sd**-2 for one in group])
    weight = weight / weight.sum()
    return replace(
        group[0],
        network=BOTH,
        raw=weight @ np.stack([one.raw for one in group]),
        left=weight @ np.stack([one.left for one in group]),
        # the networks look at one picture: their errors are taken to be the same
        sd=float(weight @ np.array([one.sd for one in group])),
    )


def rms(values: Sequence[Array]) -> float:
    """Return the root mean square length of errors in the picture, percent of stature."""
    return 100.0 * float(np.sqrt(np.mean([v @ v for v in values])))


def held(found: Sequence[Error]) -> float:
    """Return the share of coordinates that the stated uncertainty holds at 95 %."""
    inside = [np.abs(one.left) <= Z95 * one.sd for one in found]
    return float(np.mean(inside))
