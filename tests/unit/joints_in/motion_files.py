"""Writes motion files as anybody would, with numpy alone."""

from __future__ import annotations

import io

import numpy as np

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
