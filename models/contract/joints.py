"""The ``joints`` document: per-frame landmarks, and the fitted body where there is one.

Version 2 names the joints of the body by role. Version 1 called the same joints, in the same
order, ``left_*`` for tossing and front, ``right_*`` for hitting and rear; `read_joints` reads
both.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, Self

import numpy as np
from pydantic import AfterValidator, Field
from pydantic_core import from_json

from models.contract.base import SCHEMA_BASE, Document
from models.contract.skeleton import (
    ANATOMICAL_BODY,
    CANONICAL_BODY,
    LANDMARKS,
    Skeleton,
    counterpart,
)
from models.contract.tracks import BodyMotion, Camera, FloatArray, JointTrack

SCHEMA_ID: Final = "https://servewright.example/schemas/joints.v2.json"
SCHEMA_ID_V1 = SCHEMA_BASE + "joints.v1.json"

Row = tuple[float | None, ...]
Names = tuple[str, ...]


def _named_as(skeleton: Skeleton) -> AfterValidator:
    def check(names: Names) -> Names:
        if names != skeleton.names:
            raise ValueError("the joints must be named and ordered as in the schema's default")
        return names

    return AfterValidator(check)


class BodyCamera(Document):
    """Pinhole camera of a fitted body: ``x_cam = R X + t``, ``pixel = K x_cam / z``."""

    K: tuple[tuple[float, ...], ...] = Field(description="Intrinsics, pixels, 3 x 3.")
    R: tuple[tuple[float, ...], ...] = Field(description="Court frame to camera axes, 3 x 3.")
    t: tuple[float, ...] = Field(description="Metres.")


class Body(Document):
    """Fitted joints of one repetition in the court frame, metres.

    x toward the target, y to the left of someone facing the net, z up; left-handers mirrored.
    Joints are named by role: arms, shoulders and head `hitting_*` or `tossing_*`, hips and legs
    `rear_*` or `front_*`.
    """

    repetition: int = Field(ge=0, description="Number of the repetition in the result, from 0.")
    method: str = Field(description="How the body was found, as in the metrics.")
    mirrored: bool = Field(
        description="True for a left-hander: `hitting_*` and `rear_*` are then the person's left "
        "side, and the camera is that of the mirrored picture. False: they are the right side."
    )
    stature_m: float = Field(description="Standing height that the scale hangs on, metres.")
    names: Annotated[Names, _named_as(CANONICAL_BODY)] = Field(
        default=CANONICAL_BODY.names,
        description="The joints by role, in the order of `xyz_m`. Joint centres; heel and toe on "
        "the skin.",
    )
    time_s: tuple[float, ...] = Field(description="Time of each row in the clip, seconds.")
    frame: tuple[int, ...] = Field(description="Frame of the clip that each row belongs to.")
    xyz_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][joint][x, y, z]")
    sd_m: tuple[tuple[Row, ...], ...] = Field(description="Standard deviation, same shape.")
    camera: BodyCamera | None = Field(
        default=None, description="The camera in the (mirrored) court frame, for bodies from film."
    )

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
    network's own estimate: metres, hip-centred, x right, y down, z away from the camera. Left and
    right are the person's own.
    """

    schema_id: Literal["https://servewright.example/schemas/joints.v2.json"] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. Documents of `joints.v1.json` differ in one thing: the "
        "joints of `bodies` are called `left_*` for tossing and front, `right_*` for hitting and "
        "rear, in the same order.",
    )
    width: int = Field(description="Of the upright picture, pixels.")
    height: int = Field(description="Of the upright picture, pixels.")
    names: Annotated[Names, _named_as(LANDMARKS)] = Field(
        default=LANDMARKS.names,
        description="The landmarks in the order of `xy_px`, anatomical left and right.",
    )
    time_s: tuple[float, ...] = Field(description="Time of each frame in the clip, seconds.")
    frame: tuple[int, ...] = Field(
        description="Number of each frame in the clip, from 0. Where no hand is raised for long, "
        "not every frame is looked at."
    )
    xy_px: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][u, v]")
    confidence: tuple[Row, ...] = Field(description="[frame][landmark], 0..1")
    world_m: tuple[tuple[Row, ...], ...] = Field(description="[frame][landmark][x, y, z]")
    bodies: tuple[Body, ...] = Field(default=(), description="The fitted bodies.")

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


def read_joints(data: bytes | str) -> Joints:
    """Read a document of this or the earlier version; the earlier one becomes one of this.

    A document that states no version is read as the earlier one.

    Raises
    ------
    ValueError
        If it is no JSON (pydantic's ``ValidationError`` if it does not follow its schema).
    """
    return Joints.model_validate(_as_current(from_json(data)))


def _as_current(document: Any) -> Any:
    """Name the joints of bodies by role; anything else is left for the schema to judge."""
    if not isinstance(document, dict) or document.get("schema", SCHEMA_ID_V1) != SCHEMA_ID_V1:
        return document
    bodies = document.get("bodies", [])
    if isinstance(bodies, list):
        bodies = [_by_role(body) for body in bodies]
    return {**document, "schema": SCHEMA_ID, "bodies": bodies}


def _by_role(body: Any) -> Any:
    if not isinstance(body, dict) or body.get("names", []) != list(ANATOMICAL_BODY):
        return body
    # The body was mirrored already, so that of a left-hander has a right-hander's sides.
    return {**body, "names": [counterpart(n, left_handed=False) for n in ANATOMICAL_BODY]}


def _camera(camera: Camera | None) -> BodyCamera | None:
    if camera is None:
        return None
    return BodyCamera(K=camera.K.tolist(), R=camera.R.tolist(), t=camera.t.tolist())


def _rows(array: FloatArray, decimals: int) -> Any:
    """Round, and turn NaN into None, keeping the nesting."""
    rounded = np.round(array.astype(np.float64), decimals).astype(object)
    rounded[np.isnan(array)] = None
    return rounded.tolist()
