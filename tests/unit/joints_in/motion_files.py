"""Writes motion files as anybody would, with numpy alone."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from models.contract.skeleton import ANATOMICAL_BODY
from workers.joints_in.arrays import MOTION_FORMAT, RawMotion


def write_npz(motion: RawMotion) -> bytes:
    """A file of the format that `read_npz` reads."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        format=np.array(MOTION_FORMAT),
        names=np.array(ANATOMICAL_BODY.names),
        time_s=motion.time_s,
        xyz_m=motion.joints,
    )
    return buffer.getvalue()


def write_c3d(
    path: Path, motion: RawMotion, fps: float, names: Sequence[str], unit: str = "mm"
) -> None:
    """Write joints with ezc3d, as a laboratory would."""
    ezc3d = pytest.importorskip("ezc3d")
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [fps]
    file["parameters"]["POINT"]["LABELS"]["value"] = list(names)
    file["parameters"]["POINT"]["UNITS"]["value"] = [unit]
    factor = {"mm": 1000.0, "m": 1.0}[unit]
    points = np.ones((4, len(names), len(motion.time_s)))
    points[:3] = np.transpose(motion.joints, (2, 1, 0)) * factor
    file["data"]["points"] = points
    file.write(str(path))
