"""What a joint file holds, as arrays; checked, and as plain bytes between two processes."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import BodyMotion, FloatArray, IntArray, JointTrack
from workers.joints_in.arrays import RawMotion

FARTHEST = 1e5
"""No joint lies so far from the origin, pixels or metres (working value)."""
LAST_FRAME = 2**31 - 1
"""Highest number of a frame, so that it fits where frames are counted (working value)."""
UNPACKED_BYTES = 512 * 1024**2
"""An npz file may unpack to so many bytes (working value: half an hour of landmarks at 60 Hz)."""
_BODY = ("time_s", "frame_index", "joints", "sd")
_OF_BODY = ("mirrored", "stature_m")


@dataclass(frozen=True, slots=True)
class JointFile:
    """What was read.

    Attributes
    ----------
    track : JointTrack or None
        Landmarks in pixels.
    bodies : tuple of BodyMotion
        Bodies in metres in the court frame.
    raw : RawMotion or None
        Joints in metres in the file's own axes.
    """

    track: JointTrack | None = None
    bodies: tuple[BodyMotion, ...] = ()
    raw: RawMotion | None = None

    def __post_init__(self) -> None:
        if self.track is not None:
            _check_times(self.track.time_s)
            _check_points(self.track.xy, self.track.xy_raw, self.track.world)
            _check_frames(self.track.frame_index)
            for name in ("width", "height"):
                if not 0 < getattr(self.track, name) < FARTHEST:
                    raise InvalidRequest(say(NoteCode.JOINT_OUT_OF_RANGE, name=name))
        for body in self.bodies:
            _check_times(body.time_s)
            _check_points(body.joints, body.sd)
            _check_frames(body.frame_index)
        if self.raw is not None:
            _check_times(self.raw.time_s)
            _check_points(self.raw.joints)

    def to_bytes(self) -> bytes:
        """Return it as one ``.npz`` file without pickles."""
        arrays: dict[str, Any] = {}
        if self.track is not None:
            arrays["track"] = np.frombuffer(self.track.to_npz(), np.uint8)
        if self.raw is not None:
            arrays |= {"raw/time_s": self.raw.time_s, "raw/joints": self.raw.joints}
        for number, body in enumerate(self.bodies):
            for name in (*_BODY, *_OF_BODY):
                arrays[f"body/{number}/{name}"] = np.asarray(getattr(body, name))
        buffer = io.BytesIO()
        np.savez(buffer, bodies=np.array(len(self.bodies)), **arrays)
        return buffer.getvalue()

    @classmethod
    def from_bytes(cls, data: bytes) -> JointFile:
        """Read what `to_bytes` wrote. Raises ``ValueError`` or ``KeyError`` on other content."""
        check_unpacked(data)
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            held = set(file.files)
            track = JointTrack.from_npz(file["track"].tobytes()) if "track" in held else None
            raw = None
            if "raw/time_s" in held:
                raw = RawMotion(file["raw/time_s"], file["raw/joints"])
            bodies = tuple(
                BodyMotion(
                    **{name: file[f"body/{number}/{name}"] for name in _BODY},
                    mirrored=bool(file[f"body/{number}/mirrored"]),
                    stature_m=float(file[f"body/{number}/stature_m"]),
                    method="joints_in",
                )
                for number in range(int(file["bodies"]))
            )
        return cls(track, bodies, raw)


def check_unpacked(data: bytes) -> None:
    """Refuse a ZIP file that would unpack to too much; what is no ZIP file passes here.

    Raises
    ------
    InvalidRequest
        If the sizes that its directory states add up to too much. Nothing more is ever unpacked.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            size = sum(entry.file_size for entry in file.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return  # whoever opens it says what is wrong
    if size > UNPACKED_BYTES:
        raise InvalidRequest(say(NoteCode.JOINT_FILE_TOO_MUCH))


def _check_times(time_s: FloatArray) -> None:
    if time_s.ndim != 1 or not np.isfinite(time_s).all() or not bool(np.all(np.diff(time_s) > 0)):
        raise InvalidRequest(say(NoteCode.JOINT_TIMES_NOT_INCREASING))


def _check_points(*arrays: FloatArray) -> None:
    for points in arrays:
        if bool(np.any(np.abs(points) > FARTHEST)):  # not where NaN: not measured
            raise InvalidRequest(say(NoteCode.JOINT_OUT_OF_RANGE, name="joints"))


def _check_frames(frame_index: IntArray) -> None:
    if frame_index.size and not 0 <= frame_index.min() <= frame_index.max() <= LAST_FRAME:
        raise InvalidRequest(say(NoteCode.JOINT_OUT_OF_RANGE, name="frame"))
