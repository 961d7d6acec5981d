"""Films of a bulk set as the engine and the training of the lift take them: track and truth.

Read from the packs of ``python -m models.training bulk``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from models.contract.skeleton import ANATOMICAL_BODY, CANONICAL_BODY, canonical
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName, RepetitionKind
from workers.engine.truth import EVENTS

if TYPE_CHECKING:
    from models.training.bulk.packs import BulkFilm

HOLD_EVENTS = {"hold_start": EventName.SET_UP, "hold_end": EventName.FINISH}
"""Between these the engine measures a hold."""
KINDS = frozenset(kind.value for kind in RepetitionKind)


@dataclass(frozen=True)
class PackedFilm:
    """One film of one repetition.

    Attributes
    ----------
    name : str
        Set, seed and index.
    kind : RepetitionKind
    generator : str
        What drew the movement.
    track : JointTrack
        As it would reach the engine.
    motion : BodyMotion
        The true body in the canonical court frame, at the film's frames.
    events : mapping of EventName to float
        Seconds.
    camera : ndarray, shape (3,)
        Place of the camera in the frame of ``motion``, metres.
    azimuth_deg, fps : float
    picture : ndarray, shape (T, 21, 2)
        The true joints in the picture, pixels, v up, of a right-hander.
    """

    name: str
    kind: RepetitionKind
    generator: str
    track: JointTrack
    motion: BodyMotion
    events: Mapping[EventName, float]
    camera: FloatArray
    azimuth_deg: float
    fps: float
    picture: FloatArray = field(default_factory=lambda: np.zeros((0, len(CANONICAL_BODY), 2)))


def packs_of(paths: Iterable[Path]) -> list[Path]:
    """Return packs, or films, of which folders are given by all that they hold."""
    return [
        pack for one in paths for pack in (sorted(one.glob("*.npz")) if one.is_dir() else [one])
    ]


def read_films(path: Path) -> Iterator[PackedFilm]:
    """Return the films of a pack that show one repetition and in which somebody was followed."""
    from models.training.bulk.packs import read

    for film in read(path):
        found = packed(film)
        if found is not None:
            yield found


def packed(film: BulkFilm) -> PackedFilm | None:
    """Return a film as engine and training take it; None if it shows none or several."""
    repetitions = {number for number, _, _ in film.events}
    if film.kind not in KINDS or len(repetitions) != 1:
        return None
    track = film.track()
    if track is None:
        return None
    kind = RepetitionKind(film.kind)
    names = dict(EVENTS)
    if kind is RepetitionKind.HOLD:  # getting there and back is no part of it
        names = {name: e for name, e in names.items() if e not in HOLD_EVENTS.values()}
        names |= HOLD_EVENTS
    times = {name: when for _, name, when in film.events if np.isfinite(when)}
    events = {names[name]: when for name, when in times.items() if name in names}
    left = film.left_handed
    joints = canonical(film.joints3d[:, : len(ANATOMICAL_BODY)], left_handed=left, axis=1)
    origin = joints[:3, CANONICAL_BODY.pair("ankle")].mean(axis=(0, 1))
    place = film.camera_at * np.array([1.0, -1.0 if left else 1.0, 1.0])
    motion = BodyMotion(
        time_s=film.time_s,
        frame_index=np.arange(len(joints)),
        joints=joints - origin,
        sd=np.full(joints.shape, 0.001),
        mirrored=left,
        stature_m=film.stature_m,
        method="joints_in",
    )
    notes = film.notes
    return PackedFilm(
        name=f"{notes['profile']}-{notes['seed']}-{notes['index']}",
        kind=kind,
        generator=film.generator,
        track=track,
        motion=motion,
        events=events,
        camera=place - origin,
        azimuth_deg=film.azimuth_deg,
        fps=film.fps,
        picture=canonical(
            film.joints2d[:, : len(ANATOMICAL_BODY)] * np.array([1.0, -1.0]),
            left_handed=left,
            axis=0,
        ),
    )
