"""Reads a joint file of any format."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import TRACK_FORMAT, JointTrack
from workers.joints_in.arrays import UNREADABLE, read_npz
from workers.joints_in.c3d import read_c3d
from workers.joints_in.contents import JointFile, check_unpacked
from workers.joints_in.document import bodies_of, read_document, track_of

SUFFIXES = (".json", ".npz", ".c3d")


def read_joint_file(
    path: Path, suffix: str, markers: Mapping[str, Sequence[str]] | None = None
) -> JointFile:
    """Read a joint file.

    Parameters
    ----------
    path : Path
    suffix : str
        The format: one of `SUFFIXES`.
    markers : mapping of joint to marker names, optional
        For C3D.

    Raises
    ------
    InvalidRequest
        If the file cannot be used; says why.
    """
    if suffix == ".c3d":
        return JointFile(raw=read_c3d(path, markers))
    if suffix == ".npz":
        data = path.read_bytes()
        check_unpacked(data)
        if not _is_track(data):
            return JointFile(raw=read_npz(data))
        try:
            return JointFile(track=JointTrack.from_npz(data))
        except UNREADABLE as error:
            raise InvalidRequest(say(NoteCode.JOINT_FILE_UNREADABLE, reason=str(error))) from error
    if suffix == ".json":
        document = read_document(path.read_bytes())
        track = track_of(document) if document.time_s else None
        return JointFile(track, tuple(bodies_of(document)))
    raise InvalidRequest(say(NoteCode.JOINT_SUFFIX, known=SUFFIXES, file=path.name))


def _is_track(data: bytes) -> bool:
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            return "format" in file and str(file["format"]) == TRACK_FORMAT
    except UNREADABLE as error:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_UNREADABLE, reason=str(error))) from error
