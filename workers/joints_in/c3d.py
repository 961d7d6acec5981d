"""Body joints from C3D files of motion-capture laboratories (needs the ``c3d`` extra)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from workers.joints_in.arrays import RawMotion, by_name

_METRES = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "dm": 1e-1, "in": 0.0254}


def read_c3d(path: Path, markers: Mapping[str, Sequence[str]] | None = None) -> RawMotion:
    """Read a C3D file.

    Parameters
    ----------
    path : Path
        z up; the unit is read from POINT:UNITS.
    markers : mapping of joint name to marker names, optional
        Each joint is the mean of its markers. Without it, points must be named like the joints
        of the body (``left_shoulder``, ...), in any case.

    Raises
    ------
    InvalidRequest
        If the file cannot be read, a marker is missing, or joints are.
    """
    try:
        import ezc3d
    except ImportError as error:
        raise InvalidRequest(say(NoteCode.C3D_PACKAGE_MISSING)) from error
    try:
        content: Any = ezc3d.c3d(str(path))
    except Exception as error:
        raise InvalidRequest(say(NoteCode.C3D_UNREADABLE, reason=str(error))) from error
    point = content["parameters"]["POINT"]
    labels = [str(label).strip() for label in point["LABELS"]["value"]]
    units = [str(unit).strip().lower() for unit in point.get("UNITS", {}).get("value", [])]
    unit = units[0] if units else "mm"
    if unit not in _METRES:
        raise InvalidRequest(say(NoteCode.C3D_UNIT_UNKNOWN, unit=unit))
    rate = float(point["RATE"]["value"][0])
    data = np.asarray(content["data"]["points"], dtype=np.float64)
    points = np.transpose(data[:3, : len(labels)], (2, 1, 0)) * _METRES[unit]
    residual = np.asarray(content["data"]["meta_points"]["residuals"])[0, : len(labels)].T
    points = np.where((residual < 0)[..., None], np.nan, points)
    time = np.arange(len(points)) / rate
    if markers is None:
        return by_name(time, labels, points)
    return by_name(time, *_from_markers(labels, points, markers))


def _from_markers(
    labels: list[str], points: Any, markers: Mapping[str, Sequence[str]]
) -> tuple[list[str], Any]:
    missing = sorted({m for names in markers.values() for m in names} - set(labels))
    if missing:
        raise InvalidRequest(
            say(NoteCode.MARKERS_MISSING, missing=tuple(missing), labels=tuple(labels))
        )
    joints = [
        points[:, [labels.index(name) for name in names]].mean(axis=1) for names in markers.values()
    ]
    return list(markers), np.stack(joints, axis=1)
