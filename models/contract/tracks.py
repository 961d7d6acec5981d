"""Typed array containers that travel between the stages: image joints, camera, body motion.

Time is data: ``time_s`` holds the clip's own timestamps in seconds; nothing assumes a constant
frame interval. Missing values are NaN in arrays and never silently filled.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from models.contract.sightings import Sightings
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS

FloatArray = npt.NDArray[np.floating[Any]]

IntArray = npt.NDArray[np.integer[Any]]
BoolArray = npt.NDArray[np.bool_]

TRACK_FORMAT = "servewright-joints-1"
_GROUPED = ("sources", "sightings")
"""Fields of a track that are several arrays in a file."""
_CLEAR = "server_clear"


@dataclass(frozen=True, slots=True)
class JointTrack:
    """One person's landmarks over the frames of a clip.

    Pixel coordinates are those of the upright frame; the origin is the top-left corner of the
    top-left pixel (pixel centres at .5), u right, v down.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        Timestamp of each frame, seconds, strictly increasing.
    frame_index : ndarray of int, shape (T,)
        Index of the frame in the clip.
    xy : ndarray, shape (T, 33, 2)
        Smoothed landmark positions, pixels. NaN where the person was not seen.
    xy_raw : ndarray, shape (T, 33, 2)
        The same before smoothing (what the kinematic fit uses).
    confidence : ndarray, shape (T, 33)
        0..1.
    world : ndarray, shape (T, 33, 3)
        The network's own 3D, metres, hip-centred, camera axes: x right, y down, z away.
    score : ndarray, shape (T,)
        Probability of a person in the crop, 0..1.
    disagreement_px : ndarray, shape (T, 33)
        Distance between the 2D answers of two networks; NaN where only one of them gives it.
    sources : mapping of str to ndarray, shape (T, 33, 3)
        Per network: x px, y px, confidence; NaN where a network lacks the landmark.
    width, height : int
        Size of the upright frame, pixels.
    people : ndarray of int, shape (T,)
        How many people the finder saw around that frame (held between finder runs).
    sightings : Sightings or None
        What else the film gave: candidates for the ball and for the sound of its being struck.
        None where nobody looked (joints from elsewhere, older results).
    server_clear : bool
        False if somebody else in the clip could as well be the server. True in tracks written
        before it was stated.
    """

    time_s: FloatArray
    frame_index: IntArray
    xy: FloatArray
    xy_raw: FloatArray
    confidence: FloatArray
    world: FloatArray
    score: FloatArray
    disagreement_px: FloatArray
    width: int
    height: int
    people: IntArray
    sources: Mapping[str, FloatArray] = field(default_factory=dict)
    sightings: Sightings | None = None
    server_clear: bool = True

    def __post_init__(self) -> None:
        t = self.time_s.shape[0]
        n = len(LANDMARKS)
        expected = {
            "time_s": (t,),
            "frame_index": (t,),
            "xy": (t, n, 2),
            "xy_raw": (t, n, 2),
            "confidence": (t, n),
            "world": (t, n, 3),
            "score": (t,),
            "disagreement_px": (t, n),
            "people": (t,),
        }
        for name, shape in expected.items():
            actual = getattr(self, name).shape
            if actual != shape:
                raise ValueError(f"{name} has shape {actual}, expected {shape}")
        if t > 1 and not bool(np.all(np.diff(self.time_s) > 0)):
            raise ValueError("time_s must be strictly increasing")

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    def to_npz(self) -> bytes:
        """Return the track as a compressed ``.npz`` file (no pickles inside)."""
        arrays: dict[str, Any] = {
            f.name: getattr(self, f.name) for f in fields(self) if f.name not in _GROUPED
        }
        if self.sightings is not None:
            arrays |= {f"seen/{name}": array for name, array in self.sightings.arrays().items()}
        arrays |= {f"source/{name}": array for name, array in self.sources.items()}
        buffer = io.BytesIO()
        np.savez_compressed(
            buffer, format=np.array(TRACK_FORMAT), landmarks=np.array(LANDMARKS.names), **arrays
        )
        return buffer.getvalue()

    @classmethod
    def from_npz(cls, data: bytes) -> Self:
        """Read what `to_npz` wrote. Raises ``ValueError`` on any other content."""
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            if "format" not in file or str(file["format"]) != TRACK_FORMAT:
                raise ValueError(f"not a {TRACK_FORMAT} file")
            values: dict[str, Any] = {
                f.name: file[f.name] for f in fields(cls) if f.name not in (*_GROUPED, _CLEAR)
            }
            values[_CLEAR] = bool(file[_CLEAR]) if _CLEAR in file else True
            values["width"], values["height"] = int(values["width"]), int(values["height"])
            values["sources"] = {
                name.removeprefix("source/"): file[name]
                for name in file.files
                if name.startswith("source/")
            }
            seen = {
                name.removeprefix("seen/"): file[name]
                for name in file.files
                if name.startswith("seen/")
            }
            values["sightings"] = Sightings.of(seen) if seen else None
        return cls(**values)


@dataclass(frozen=True, slots=True)
class Camera:
    """Pinhole camera: ``x_cam = R @ X_court + t``; ``pixel = K @ x_cam / z``.

    Attributes
    ----------
    K : ndarray, shape (3, 3)
        Intrinsics, pixels.
    R : ndarray, shape (3, 3)
        Court frame to camera axes (x right, y down, z away).
    t : ndarray, shape (3,)
        Metres.
    """

    K: FloatArray
    R: FloatArray
    t: FloatArray

    def project(self, points: FloatArray) -> FloatArray:
        """Project court-frame points, shape (..., 3) metres, to pixels, shape (..., 2)."""
        cam = points @ self.R.T + self.t
        uvw = cam @ self.K.T
        return np.asarray(uvw[..., :2] / uvw[..., 2:3])


@dataclass(frozen=True, slots=True)
class BodyMotion:
    """One server's body in metres in the court frame over a window of time.

    Court frame: x toward the target, z up, y = z cross x (left of someone facing the net);
    origin at the mid-point of the ankles at set-up. Left-handers are mirrored in y; joints are
    named by role (``hitting_wrist``, ``front_knee``).

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    frame_index : ndarray of int, shape (T,)
    joints : ndarray, shape (T, 21, 3)
        Joint centres in the order of ``CANONICAL_BODY``, metres.
    sd : ndarray, shape (T, 21, 3)
        Standard deviation of each coordinate, metres.
    mirrored : bool
        True for a left-hander.
    stature_m : float
        Standing height used for scale.
    method : str
        ``kinematic_fit``, ``network_3d`` or ``joints_in``.
    camera : Camera or None
        The camera in the (mirrored) court frame, when the motion came from film.
    """

    time_s: FloatArray
    frame_index: IntArray
    joints: FloatArray
    sd: FloatArray
    mirrored: bool
    stature_m: float
    method: str
    camera: Camera | None = None

    def __post_init__(self) -> None:
        shape = (self.time_s.shape[0], len(CANONICAL_BODY), 3)
        if self.joints.shape != shape or self.sd.shape != shape:
            raise ValueError(f"joints and sd must have shape {shape}")

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    def joint(self, name: str) -> FloatArray:
        """Return one joint's path, shape (T, 3)."""
        return CANONICAL_BODY.at(self.joints, name)
