"""Whether a network gives the same answers on another device as on the CPU."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from models import registry
from workers.pose.session import Device, open_session

TOLERANCE = 5e-4
"""Largest difference that is allowed, as a share of the largest absolute value of an output: a
tenth of a pixel of a crop of 256. From frame to frame the networks repeat to no better than one
pixel. OpenVINO on a CPU differed by 1.3e-5 at most (four networks, crops of a rendered serve)."""
FINDER_SIZE = (224, 384)
"""Height and width given to a network whose input has any size, pixels."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """The output that differs most.

    Attributes
    ----------
    largest : float
        Absolute difference over the largest absolute value of the output.
    """

    network: str
    output: str
    largest: float


def agreement(name: str, device: Device) -> Agreement:
    """Run one picture through a network on a device and on the CPU.

    Raises
    ------
    ModelUnknown, ModelFileDamaged, ComputeDeviceUnavailable
    """
    image = picture(name)
    return compared(name, open_session(name, device)(image), open_session(name)(image))


def compared(
    name: str, found: Mapping[str, npt.NDArray[Any]], right: Mapping[str, npt.NDArray[Any]]
) -> Agreement:
    """Return the output that differs most; infinite where an output is not finite."""
    shares: dict[str, float] = {}
    for output, values in right.items():
        off = np.abs(np.asarray(found[output], np.float64) - values)
        share = float(off.max() / max(float(np.abs(values).max()), 1e-12))
        shares[output] = share if np.isfinite(share) else float("inf")
    worst = max(shares, key=lambda output: shares[output])
    return Agreement(name, worst, shares[worst])


def picture(name: str) -> npt.NDArray[Any]:
    """Return a smooth coloured picture, the same each time, as a network's input."""
    wanted = registry.entry(name).input
    given = [side if isinstance(side, int) and side > 0 else None for side in wanted.shape]
    height, width = (side or usual for side, usual in zip(given[1:3], FINDER_SIZE, strict=True))
    spots = np.random.default_rng(7).random((12, 12, 3)).astype(np.float32)
    smooth = cv2.resize(spots, (width, height), interpolation=cv2.INTER_CUBIC).clip(0.0, 1.0)
    if "float" in wanted.dtype:
        return np.asarray(smooth[None])
    return np.asarray(np.round(smooth[None] * 255.0), np.dtype(wanted.dtype))
