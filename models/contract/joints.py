"""The ``joints`` document: per-frame landmarks, and the fitted body where there is one."""

from __future__ import annotations

from typing import Any, Self

import numpy as np
from pydantic import Field

from models.contract.base import SCHEMA_BASE, Document
from models.contract.skeleton import ANATOMICAL_BODY, CANONICAL_BODY, LANDMARKS
from models.contract.tracks import BodyMotion, Camera, FloatArray, JointTrack

SCHEMA_ID = SCHEMA_BASE + "joints.v1.json"

Row = tuple[float | None, ...]


class BodyCamera(Document):
    """Pinhole camera of a fitted body: ``x_cam = R X + t``, ``pixel = K x_cam / z``."""

    K: tuple[tuple[float, ...], ...] = Field(description="Intrinsics, pixels, 3 x 3.")
    R: tuple[tuple[float, ...], ...] = Field(description="Court frame to camera axes, 3 x 3.")
    t: tuple[float, ...] = Field(description="Metres.")


class Body(Document):
    """Fitted joints of one repetition in the court frame, metres.

    x toward the target, y to the left of someone facing the net, z up; left-handers mirrored, so
    ``right_*`` is the hitting side.
    """

    repetition: int = Field(ge=0)
    method: str
    mirrored: bool
    stature_m: float
    names: tuple[str, ...] = ANATOMICAL_BODY.names
    time_s: tuple[float, ...]
    frame: tuple[int, ...]
    xyz_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][joint][x, y, z]")
    sd_m: tuple[tuple[Row, ...], ...] = Field(description="Standard deviation, same shape.")
    camera: BodyCamera | None = None

    def motion(self) -> BodyMotion:
        """Return the body as arrays, to the precision of the document."""
        camera = self.camera
        return BodyMotion(
            time_s=np.array(self.time_s, dtype=np.float64),
            frame_index=np.array(self.frame, dtype=np.int64),
            joints=np.array(self.xyz_m, dtype=np.float64).reshape(-1, len(CANONICAL_BODY), 3),
            sd=np.array(self.sd_m, dtype=np.float64).reshape(-1, len(CANONICAL_BODY), 3),
            mirrored=self.mirrored,
            stature_m=self.stature_m,
            method=self.method,
            camera=None
            if camera is None
            else Camera(np.array(camera.K), np.array(camera.R), np.array(camera.t)),
        )


class Joints(Document):
    """Landmarks per frame, pixels of the upright picture; null where not seen.

    Origin at the top-left corner of the top-left pixel, u right, v down. World landmarks are the
    network's own estimate: metres, hip-centred, x right, y down, z away from the camera.
    """

    schema_id: str = Field(default=SCHEMA_ID, alias="schema")
    width: int
    height: int
    names: tuple[str, ...] = LANDMARKS.names
    time_s: tuple[float, ...]
    frame: tuple[int, ...]
    xy_px: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][u, v]")
    confidence: tuple[Row, ...] = Field(description="[frame][landmark], 0..1")
    world_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][x, y, z]")
    bodies: tuple[Body, ...] = ()

    def motions(self, repetitions: int) -> tuple[BodyMotion | None, ...]:
        """Return the fitted body of each repetition, None where there is none."""
        found = {body.repetition: body.motion() for body in self.bodies}
        return tuple(found.get(number) for number in range(repetitions))

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
                    camera=_camera(body.camera),
                )
                for i, body in enumerate(bodies)
                if body is not None
            ),
        )


def _camera(camera: Camera | None) -> BodyCamera | None:
    if camera is None:
        return None
    return BodyCamera(K=camera.K.tolist(), R=camera.R.tolist(), t=camera.t.tolist())


def _rows(array: FloatArray, decimals: int) -> Any:
    """Round, and turn NaN into None, keeping the nesting."""
    rounded = np.round(array.astype(np.float64), decimals).astype(object)
    rounded[np.isnan(array)] = None
    return rounded.tolist()
