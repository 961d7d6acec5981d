"""The ``joints`` document: per-frame landmarks, and the fitted body where there is one."""

from __future__ import annotations

from typing import Any, Self

import numpy as np
from pydantic import Field

from models.contract.base import SCHEMA_BASE, Document
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import BODY_JOINTS, LANDMARKS

SCHEMA_ID = SCHEMA_BASE + "joints.v1.json"

Row = tuple[float | None, ...]


class Body(Document):
    """Fitted joints of one repetition in the court frame, metres.

    x toward the target, y to the left of someone facing the net, z up; left-handers mirrored, so
    ``right_*`` is the hitting side.
    """

    repetition: int = Field(ge=0)
    method: str
    mirrored: bool
    stature_m: float
    names: tuple[str, ...] = BODY_JOINTS
    time_s: tuple[float, ...]
    frame: tuple[int, ...]
    xyz_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][joint][x, y, z]")
    sd_m: tuple[tuple[Row, ...], ...] = Field(description="Standard deviation, same shape.")


class Joints(Document):
    """Landmarks per frame, pixels of the upright picture; null where not seen.

    Origin at the top-left corner of the top-left pixel, u right, v down. World landmarks are the
    network's own estimate: metres, hip-centred, x right, y down, z away from the camera.
    """

    schema_id: str = Field(default=SCHEMA_ID, alias="schema")
    width: int
    height: int
    names: tuple[str, ...] = LANDMARKS
    time_s: tuple[float, ...]
    frame: tuple[int, ...]
    xy_px: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][u, v]")
    confidence: tuple[Row, ...] = Field(description="[frame][landmark], 0..1")
    world_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][x, y, z]")
    bodies: tuple[Body, ...] = ()

    @classmethod
    def of(cls, track: JointTrack, bodies: tuple[BodyMotion | None, ...] = ()) -> Self:
        """Return the document of a track and the fitted bodies of its repetitions."""
        return cls(
            width=track.width,
            height=track.height,
            time_s=tuple(track.time_s.tolist()),
            frame=tuple(track.frame_index.tolist()),
            xy_px=_rows(track.xy, 2),
            confidence=_rows(track.confidence, 3),
            world_m=_rows(track.world, 4),
            bodies=tuple(
                Body(
                    repetition=i,
                    method=body.method,
                    mirrored=body.mirrored,
                    stature_m=body.stature_m,
                    time_s=tuple(body.time_s.tolist()),
                    frame=tuple(body.frame_index.tolist()),
                    xyz_m=_rows(body.joints, 4),
                    sd_m=_rows(body.sd, 4),
                )
                for i, body in enumerate(bodies)
                if body is not None
            ),
        )


def _rows(array: FloatArray, decimals: int) -> Any:
    """Round, and turn NaN into None, keeping the nesting."""
    rounded = np.round(array.astype(np.float64), decimals).astype(object)
    rounded[np.isnan(array)] = None
    return rounded.tolist()
