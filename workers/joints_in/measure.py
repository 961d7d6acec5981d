"""From a joint file to measured repetitions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.skeleton import ANATOMICAL_BODY
from workers.engine.canonical import to_court
from workers.engine.engine import analyse_motion, joints_refused
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.joint_checks import frame_fault
from workers.joints_in.arrays import LEAST_FRAMES, RawMotion
from workers.joints_in.contents import JointFile
from workers.joints_in.reading import read_joint_file
from workers.learned import load


def measure_file(
    path: Path,
    request: EngineRequest,
    *,
    target_xy: tuple[float, float] | None = None,
    markers: Mapping[str, Sequence[str]] | None = None,
    accuracy_m: float | None = None,
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
    accuracy_m : float, optional
        Standard deviation of each coordinate of npz and C3D files, metres, as it is stated.

    Returns
    -------
    list of EngineResult
        One per body of a JSON document with bodies, else one.

    Raises
    ------
    InvalidRequest
        If the file cannot be used; says why.
    """
    file = read_joint_file(path, path.suffix.lower(), markers)
    return measure(file, request, target_xy, accuracy_m)


def measure(
    file: JointFile,
    request: EngineRequest,
    target_xy: tuple[float, float] | None = None,
    accuracy_m: float | None = None,
) -> list[EngineResult]:
    """Measure what was read: bodies where there are any, else landmarks, else raw joints.

    Raises
    ------
    InvalidRequest
        If nothing can be measured in it; says why.
    """
    if file.raw is not None:
        return [_measure_raw(file.raw, request, target_xy, accuracy_m)]
    if file.bodies:
        return [analyse_motion(body, request) for body in file.bodies]
    if file.track is None:
        raise InvalidRequest(say(NoteCode.JOINT_FRAMES_FEW, frames=0, least=LEAST_FRAMES))
    return [load().analyse(file.track, request)]


def _measure_raw(
    raw: RawMotion,
    request: EngineRequest,
    target_xy: tuple[float, float] | None,
    accuracy_m: float | None,
) -> EngineResult:
    fault = frame_fault(raw.joints, ANATOMICAL_BODY)
    if fault is not None:
        return joints_refused(fault, request)
    try:
        motion = to_court(
            raw.time_s,
            raw.joints,
            handedness=request.handedness,
            target_xy=target_xy,
            stature_m=request.stature_m,
            accuracy_m=accuracy_m,
        )
    except ValueError as error:
        raise InvalidRequest(say(NoteCode.JOINTS_UNUSABLE, reason=str(error))) from error
    return analyse_motion(motion, request)
