"""From a joint file to measured repetitions."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import TRACK_FORMAT, JointTrack
from workers.engine.canonical import to_court
from workers.engine.engine import analyse_motion
from workers.engine.interface import EngineRequest, EngineResult
from workers.joints_in.arrays import UNREADABLE, RawMotion, read_npz
from workers.joints_in.c3d import read_c3d
from workers.joints_in.document import bodies_of, read_document, track_of
from workers.learned import load

SUFFIXES = (".json", ".npz", ".c3d")


def measure_file(
    path: Path,
    request: EngineRequest,
    *,
    target_xy: tuple[float, float] | None = None,
    markers: Mapping[str, Sequence[str]] | None = None,
) -> list[EngineResult]:
    """Measure what a joint file holds.

    Parameters
    ----------
    path : Path
        ``.json`` (joints.v2.json or joints.v1.json: landmarks in pixels, or bodies in metres),
        ``.npz`` (a track of landmarks, or ``servewright-motion-1``), or ``.c3d``.
    request : EngineRequest
    target_xy : (x, y) or None
        Horizontal direction of the target in the file's own axes (metres, z up).
    markers : mapping of joint to marker names, optional
        For C3D.

    Returns
    -------
    list of EngineResult
        One per body of a JSON document with bodies, else one.

    Raises
    ------
    InvalidRequest
        If the file cannot be used; says why.
    """
    suffix = path.suffix.lower()
    if suffix == ".c3d":
        return [_measure_raw(read_c3d(path, markers), request, target_xy)]
    if suffix == ".npz":
        data = path.read_bytes()
        if _is_track(data):
            try:
                return [load().analyse(JointTrack.from_npz(data), request)]
            except UNREADABLE as error:
                raise InvalidRequest(
                    say(NoteCode.JOINT_FILE_UNREADABLE, reason=str(error))
                ) from error
        return [_measure_raw(read_npz(data), request, target_xy)]
    if suffix == ".json":
        document = read_document(path.read_bytes())
        bodies = bodies_of(document)
        if bodies:
            return [analyse_motion(body, request) for body in bodies]
        return [load().analyse(track_of(document), request)]
    raise InvalidRequest(say(NoteCode.JOINT_SUFFIX, known=SUFFIXES, file=path.name))


def _is_track(data: bytes) -> bool:
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            return "format" in file and str(file["format"]) == TRACK_FORMAT
    except UNREADABLE as error:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_UNREADABLE, reason=str(error))) from error


def _measure_raw(
    raw: RawMotion, request: EngineRequest, target_xy: tuple[float, float] | None
) -> EngineResult:
    try:
        motion = to_court(
            raw.time_s,
            raw.joints,
            handedness=request.handedness,
            target_xy=target_xy,
            stature_m=request.stature_m,
        )
    except ValueError as error:
        raise InvalidRequest(say(NoteCode.JOINTS_UNUSABLE, reason=str(error))) from error
    return analyse_motion(motion, request)
