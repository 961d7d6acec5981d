"""Body joints in ``.npz`` files: a small open format anybody can write with numpy."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass

import numpy as np

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.skeleton import ANATOMICAL_BODY as BODY
from models.contract.skeleton import part_of
from models.contract.tracks import FloatArray

MOTION_FORMAT = "servewright-motion-1"
UNREADABLE = (
    ValueError,
    TypeError,
    OSError,
    KeyError,
    EOFError,
    NotImplementedError,
    zipfile.BadZipFile,
    zlib.error,
)
"""What reading a file as npz may raise that is none, is cut off, or holds other things."""
LEAST_FRAMES = 8
"""Fewest frames of a motion."""
NEEDED = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
"""Parts that every file must have, on both sides."""


@dataclass(frozen=True, slots=True)
class RawMotion:
    """Joints as measured: metres, z up, anatomical left and right.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    joints : ndarray, shape (T, 21, 3)
        Order of ``ANATOMICAL_BODY``; NaN = not measured.
    """

    time_s: FloatArray
    joints: FloatArray


def by_name(time_s: FloatArray, names: list[str], points: FloatArray) -> RawMotion:
    """Return a motion from named points, shape (T, N, 3); names that are missing become NaN.

    Raises
    ------
    InvalidRequest
        If a joint that every metric needs (shoulders to ankles) is missing.
    """
    joints = np.full((len(time_s), len(BODY), 3), np.nan)
    lower = [name.strip().lower() for name in names]
    for i, joint in enumerate(BODY):
        if joint in lower:
            joints[:, i] = points[:, lower.index(joint)]
    missing = [name for name in BODY if part_of(name) in NEEDED and name not in lower]
    if missing:
        raise InvalidRequest(say(NoteCode.JOINTS_MISSING, missing=tuple(missing)))
    return RawMotion(np.asarray(time_s, dtype=np.float64), with_head(joints))


def with_head(joints: FloatArray) -> FloatArray:
    """Fill unmeasured head points above the mid-shoulder, along the trunk.

    Ears at 0.32 trunk lengths over the shoulder line (rendered bodies); they carry the head's
    mass. Points that were measured stay.
    """
    shoulders, hips = BODY.middle(joints, "shoulder"), BODY.middle(joints, "hip")
    head = shoulders + 0.32 * (shoulders - hips)
    filled = joints.copy()
    for row in (BODY.index("nose"), *BODY.pair("eye"), *BODY.pair("ear")):
        filled[:, row] = np.where(np.isnan(filled[:, row]), head, filled[:, row])
    return filled


def read_npz(data: bytes) -> RawMotion:
    """Read a ``servewright-motion-1`` file: ``format``, ``names``, ``time_s``, ``xyz_m``.

    Raises
    ------
    InvalidRequest
        On any other content.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            if "format" not in file or str(file["format"]) != MOTION_FORMAT:
                raise InvalidRequest(say(NoteCode.JOINT_FORMAT_EXPECTED, format=MOTION_FORMAT))
            names = [str(name) for name in file["names"]]
            time = np.asarray(file["time_s"], dtype=np.float64)
            points = np.asarray(file["xyz_m"], dtype=np.float64)
    except UNREADABLE as error:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_UNREADABLE, reason=str(error))) from error
    expected = (time.size, len(names), 3)
    if time.ndim != 1 or points.shape != expected or time.size < LEAST_FRAMES:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_SHAPE, least=LEAST_FRAMES))
    if not bool(np.all(np.diff(time) > 0)):
        raise InvalidRequest(say(NoteCode.JOINT_TIMES_NOT_INCREASING))
    return by_name(time, names, points)
