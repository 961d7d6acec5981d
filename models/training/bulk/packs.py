"""Films in few files, and back as joint tracks with their truth."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models.contract.tracks import FloatArray, JointTrack
from models.training.rendered.rotation import Array
from workers.pose.choice import Networks
from workers.pose.networks import COCO_TO_LANDMARK, LANDMARK_COUNT
from workers.pose.rows import Row, assemble
from workers.pose.track import ServerChoice

from .stored import METRE, PIXEL, SURE, plain

MOST_BYTES = 15 * 1024 * 1024
"""A pack stays under this where one film does."""


@dataclass(frozen=True)
class BulkFilm:
    """One film read back; arrays in pixels, metres and seconds.

    joints3d (T, 23, 3) and joints2d (T, 23, 2) as filmed; camera_r (3, 3), camera_at (3,),
    camera_k focal length, k1, width, height; events (repetition, name, seconds).
    """

    notes: dict[str, Any]
    time_s: FloatArray
    rows: list[Row]
    joints3d: Array
    joints2d: Array
    camera_r: Array
    camera_at: Array
    camera_k: Array
    azimuth_deg: float
    stature_m: float
    gender: float
    left_handed: bool
    kind: str
    generator: str
    fps: float
    events: list[tuple[int, str, float]]

    def track(self) -> JointTrack | None:
        """The track as it would reach the engine; None where nobody was followed."""
        if not any(np.isfinite(row.blaze).any() for row in self.rows):
            return None
        nobody = np.zeros(0)
        server = ServerChoice(nobody, (), (), True, np.array([0.0]), np.array([1], dtype=np.int64))
        pair = Networks(finder=_none, blazepose=_none, movenet=_none)
        width, height = (int(v) for v in self.camera_k[2:])
        return assemble(self.rows, server, pair, width, height)[0]


def _none(image: Any) -> dict[str, Any]:
    raise RuntimeError("a film read back is not looked at again")


def pack(films: list[Path], folder: Path) -> list[Path]:
    """Join films (one .npz each) into numbered packs in their order."""
    folder.mkdir(parents=True, exist_ok=True)
    out: list[Path] = []
    batch: list[Path] = []
    size = 0
    for path in [*films, None]:
        if path is None or size + path.stat().st_size > MOST_BYTES:
            if batch:
                out.append(_write(batch, folder / f"pack-{len(out):04d}.npz"))
            batch, size = [], 0
        if path is not None:
            batch.append(path)
            size += path.stat().st_size
    return out


def _write(batch: list[Path], path: Path) -> Path:
    """One pack: entries `FILM/array`."""
    arrays: dict[str, Any] = {}
    for film in batch:
        with np.load(film, allow_pickle=False) as file:
            arrays |= {f"{film.stem}/{key}": file[key] for key in file.files}
    part = path.with_suffix(".part")
    with part.open("wb") as out:
        np.savez_compressed(out, **arrays)
    part.replace(path)
    return path


def read(path: Path) -> Iterator[BulkFilm]:
    """The films of a pack, or the one of a film's file."""
    with np.load(path, allow_pickle=False) as file:
        stems = sorted({key.rpartition("/")[0] for key in file.files})
        for stem in stems:
            lead = f"{stem}/" if stem else ""
            keys = [k for k in file.files if k.rpartition("/")[0] == stem]
            yield _film({key.removeprefix(lead): file[key] for key in keys})


def _film(a: dict[str, np.ndarray]) -> BulkFilm:
    first, second = _pixels_and_sure(a, "first"), _pixels_and_sure(a, "second")
    wide = np.full((len(second), LANDMARK_COUNT, 3), np.nan)
    wide[:, list(COCO_TO_LANDMARK)] = second
    world, score = plain(a["world"], METRE), plain(a["score"], SURE)
    times = a["time_s"].astype(np.float64)
    rows = [
        Row(float(t), i, first[i], wide[i], world[i], float(score[i])) for i, t in enumerate(times)
    ]
    events = zip(a["event_repetition"], a["event_name"], a["event_s"], strict=True)
    return BulkFilm(
        notes=json.loads(str(a["notes"])),
        time_s=times,
        rows=rows,
        joints3d=plain(a["joints3d"], METRE),
        joints2d=plain(a["joints2d"], PIXEL),
        camera_r=a["camera_r"].astype(np.float64),
        camera_at=a["camera_at"].astype(np.float64),
        camera_k=a["camera_k"].astype(np.float64),
        azimuth_deg=float(a["azimuth_deg"]),
        stature_m=float(a["stature_m"]),
        gender=float(a["gender"]),
        left_handed=bool(a["left_handed"]),
        kind=str(a["kind"]),
        generator=str(a["generator"]),
        fps=float(a["fps"]),
        events=[(int(k), str(name), float(t)) for k, name, t in events],
    )


def _pixels_and_sure(a: dict[str, np.ndarray], name: str) -> Array:
    pixels, sure = plain(a[f"{name}_px"], PIXEL), plain(a[f"{name}_sure"], SURE)
    return np.concatenate([pixels, sure[..., None]], axis=-1)
