"""Joint tracks of rendered films, kept as small files so that no network has to run.

Positions are kept to 1/16 px (the networks themselves repeat to no better than 1 px from frame to
frame), the network's own 3D to 0.5 mm, confidences to 1/250. Times are exact. A file holds whole
numbers, one column after the other, each column as differences from frame to frame: that packs
well.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np

from models.contract.tracks import JointTrack

Array = np.ndarray[Any, np.dtype[Any]]

FORMAT = "frozen-joints-1"
DATA = Path(__file__).resolve().parents[3] / "tests" / "data"
TRACKS = DATA / "tracks"
FILMS = DATA / "rendered"
STEPS = {
    "xy": 1 / 16,
    "xy_raw": 1 / 16,
    "disagreement_px": 1 / 16,
    "world": 1 / 2000,
    "confidence": 1 / 250,
    "score": 1 / 250,
}
"""Smallest difference that is kept, in the array's own unit."""
_MISSING = -(2**15)
_EXACT = ("time_s", "frame_index", "people")


def frozen_films() -> tuple[str, ...]:
    """Return the names of the films whose tracks are kept."""
    return tuple(sorted(path.stem for path in TRACKS.glob("*.npz")))


def pack(track: JointTrack) -> bytes:
    """Return a track as the content of a small ``.npz`` file.

    Raises
    ------
    ValueError
        If a value is too large to be kept.
    """
    arrays: dict[str, Array] = {"format": np.array(FORMAT)}
    arrays["size"] = np.array([track.width, track.height])
    for name in _EXACT:
        arrays[name] = getattr(track, name)
    for name, step in STEPS.items():
        arrays[name] = _differences(getattr(track, name), np.array(step))
    for name, values in track.sources.items():
        arrays[f"source/{name}"] = _differences(values, _SOURCE_STEP)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)  # type: ignore[arg-type]
    return buffer.getvalue()


_SOURCE_STEP = np.array([STEPS["xy"], STEPS["xy"], STEPS["confidence"]])


def unpack(data: bytes) -> JointTrack:
    """Return the track that `pack` wrote.

    Raises
    ------
    ValueError
        If the content is of another format.
    """
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        if "format" not in file or str(file["format"]) != FORMAT:
            raise ValueError(f"not a {FORMAT} file")
        values: dict[str, Any] = {name: file[name] for name in _EXACT}
        for name, step in STEPS.items():
            values[name] = _sum(file[name], np.array(step))
        values["sources"] = {
            name.removeprefix("source/"): _sum(file[name], _SOURCE_STEP)
            for name in file.files
            if name.startswith("source/")
        }
        width, height = (int(side) for side in file["size"])
    return JointTrack(width=width, height=height, **values)


def load(film: str) -> JointTrack:
    """Return the frozen track of a committed film."""
    return unpack((TRACKS / f"{film}.npz").read_bytes())


def _differences(values: Array, step: Array) -> Array:
    whole = np.round(values / step)
    if np.nanmax(np.abs(whole), initial=0.0) >= -_MISSING:
        raise ValueError("a value is too large to be kept; is the picture wider than 2047 px?")
    kept = np.where(np.isfinite(whole), whole, _MISSING).astype(np.int16)
    with np.errstate(over="ignore"):
        rows = np.diff(kept, axis=0, prepend=kept[:1] * 0)
    return np.ascontiguousarray(np.moveaxis(rows, 0, -1))


def _sum(rows: Array, step: Array) -> Array:
    whole = np.cumsum(np.moveaxis(rows, -1, 0), axis=0, dtype=np.int16)
    return np.where(whole == _MISSING, np.nan, whole * step)
