"""What else a film gives besides joints: small moving things, sharp sounds, and how much changes.

Candidates only: which of them is the ball, or the ball being struck, is decided by the metrics
engine. Times are the clip's own, seconds; pixels as in `JointTrack`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Self

import numpy as np
import numpy.typing as npt

_Floats = npt.NDArray[np.floating[Any]]
_Ints = npt.NDArray[np.integer[Any]]


def _nothing() -> _Floats:
    return np.empty(0)


def _no_pairs() -> _Floats:
    return np.empty((0, 2))


def _no_ends() -> _Floats:
    return np.empty((0, 2, 2))


def _no_frames() -> _Ints:
    return np.empty(0, np.int64)


@dataclass(frozen=True, slots=True)
class Sightings:
    """Candidates seen and heard.

    Attributes
    ----------
    looked : ndarray of int, shape (F,)
        Index of each frame that was looked at closely.
    looked_s : ndarray, shape (F,)
        Its time, seconds.
    change : ndarray, shape (F,)
        How much of the picture differs from the frame before, grey levels (root mean square); NaN
        where the frame before was not looked at.
    thing_frame : ndarray of int, shape (N,)
        Frame of each small thing that is there and in neither neighbour.
    thing_xy : ndarray, shape (N, 2)
        Its middle, pixels.
    thing_half : ndarray, shape (N, 2)
        From its middle to one end of its long axis, pixels: half of the streak.
    thing_width : ndarray, shape (N,)
        Its short axis, pixels.
    thing_score : ndarray, shape (N,)
        Mean difference from its neighbours, grey levels.
    heard_s : ndarray, shape (M,)
        Time of each sharp sound at the microphone, seconds.
    heard_db : ndarray, shape (M,)
        Its rise over what was heard just before, decibels.
    sound : bool
        Whether the film has a sound track that could be read.
    edge_frame : ndarray of int, shape (E,)
        Frame of each long straight edge; a frame now and then is looked at for them.
    edge_ends : ndarray, shape (E, 2, 2)
        Its two ends, pixels.
    """

    looked: _Ints = field(default_factory=_no_frames)
    looked_s: _Floats = field(default_factory=_nothing)
    change: _Floats = field(default_factory=_nothing)
    thing_frame: _Ints = field(default_factory=_no_frames)
    thing_xy: _Floats = field(default_factory=_no_pairs)
    thing_half: _Floats = field(default_factory=_no_pairs)
    thing_width: _Floats = field(default_factory=_nothing)
    thing_score: _Floats = field(default_factory=_nothing)
    heard_s: _Floats = field(default_factory=_nothing)
    heard_db: _Floats = field(default_factory=_nothing)
    sound: bool = False
    edge_frame: _Ints = field(default_factory=_no_frames)
    edge_ends: _Floats = field(default_factory=_no_ends)

    def __post_init__(self) -> None:
        f, n, m = len(self.looked), len(self.thing_frame), len(self.heard_s)
        shapes = {
            "looked_s": (f,),
            "change": (f,),
            "thing_xy": (n, 2),
            "thing_half": (n, 2),
            "thing_width": (n,),
            "thing_score": (n,),
            "heard_db": (m,),
            "edge_ends": (len(self.edge_frame), 2, 2),
        }
        for name, shape in shapes.items():
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, expected {shape}")

    def arrays(self) -> dict[str, Any]:
        """Return everything as arrays by name, for a file; things and edges to seven digits."""
        arrays = {f.name: np.asarray(getattr(self, f.name)) for f in fields(self)}
        for name, array in arrays.items():
            if name.startswith(("thing_", "edge_")) and array.dtype.kind == "f":
                arrays[name] = array.astype(np.float32)
        return arrays

    @classmethod
    def of(cls, arrays: Mapping[str, Any]) -> Self:
        """Read what `arrays` gave. Raises ``ValueError`` on arrays of other shapes."""
        known = {f.name for f in fields(cls)}
        values = {name: array for name, array in arrays.items() if name in known}
        for name, array in values.items():
            if array.dtype == np.float32:
                values[name] = array.astype(np.float64)
        values["sound"] = bool(values.get("sound", False))
        return cls(**values)
