"""Joints from the open JSON document of the contract, in pixels or in metres."""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import ValidationError

from models.contract.errors import InvalidRequest
from models.contract.joints import Body, Joints, read_joints
from models.contract.note_codes import NoteCode, say
from models.contract.refusals import field_words
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.words import english


def read_document(data: bytes) -> Joints:
    """Return the ``joints`` document in a JSON file, of this or the earlier version.

    Raises
    ------
    InvalidRequest
        If it is no JSON or does not follow the schema.
    """
    try:
        return read_joints(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = "/".join(str(part) for part in first["loc"])
        raise InvalidRequest(
            say(
                NoteCode.JOINT_DOCUMENT_FORM,
                schema="joints.v2.json",
                reason=field_words(english(), first),
                place=place,
            )
        ) from error
    except ValueError as error:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_NO_JSON, reason=str(error))) from error


def bodies_of(document: Joints) -> list[BodyMotion]:
    """Return the bodies in metres that a document holds (canonical court frame)."""
    return [_motion(body) for body in document.bodies]


def track_of(document: Joints) -> JointTrack:
    """Return the landmarks of a document as a track.

    Raises
    ------
    InvalidRequest
        If shapes differ.
    """
    frames = len(document.time_s)
    xy = _array(document.xy_px, (frames, len(LANDMARKS), 2))
    confidence = np.nan_to_num(_array(document.confidence, (frames, len(LANDMARKS))))
    seen = np.where(np.isfinite(xy).all(axis=(1, 2)), 1.0, 0.0)
    try:
        return JointTrack(
            time_s=np.asarray(document.time_s, dtype=np.float64),
            frame_index=np.asarray(document.frame, dtype=np.int64),
            xy=xy,
            xy_raw=xy,
            confidence=confidence,
            world=_array(document.world_m, (frames, len(LANDMARKS), 3)),
            score=seen,
            disagreement_px=np.full((frames, len(LANDMARKS)), np.nan),
            width=document.width,
            height=document.height,
            people=np.ones(frames, dtype=np.int64),
        )
    except ValueError as error:
        raise InvalidRequest(say(NoteCode.JOINTS_DIFFER, reason=str(error))) from error


def _motion(body: Body) -> BodyMotion:
    shape = (len(body.time_s), len(CANONICAL_BODY), 3)
    return BodyMotion(
        time_s=np.asarray(body.time_s, dtype=np.float64),
        frame_index=np.asarray(body.frame, dtype=np.int64),
        joints=_array(body.xyz_m, shape),
        sd=_array(body.sd_m, shape),
        mirrored=body.mirrored,
        stature_m=body.stature_m,
        method="joints_in",
    )


def _array(rows: Any, shape: tuple[int, ...]) -> FloatArray:
    try:
        array = np.asarray(rows, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InvalidRequest(say(NoteCode.JOINT_ROWS_DIFFER)) from error
    if array.shape != shape:
        raise InvalidRequest(say(NoteCode.JOINT_SHAPE, found=str(array.shape), expected=str(shape)))
    return np.asarray(array)
