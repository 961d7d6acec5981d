"""How far landmarks of films lie off true joints, film by film: what a bound is told of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.packed_films import PackedFilm, packs_of, read_films
from workers.engine.lift_input import SECOND, resample, seen_in, stature_px

AFTER_S = 0.1
"""From set-up to so long after contact, seconds, as the bound's instants."""
STANDING = 10
"""Frames in which the server stands, whose height is the unit."""
FEWEST = 8
"""Frames of a serve from which its errors count."""


def serve_errors(film: PackedFilm) -> FloatArray | None:
    """Return the landmarks' errors in one film of a serve, (T, 21, 2), standing heights.

    The mean of both networks where both see a joint, as an estimator that weighs them would.
    """
    if film.kind is not RepetitionKind.SERVE:
        return None
    track, events = film.track, film.events
    start = events.get(EventName.SET_UP, float(track.time_s[0]))
    end = events[EventName.CONTACT] + AFTER_S
    inside = np.flatnonzero((track.time_s >= start) & (track.time_s <= end))
    seen = seen_in(track, inside, film.motion.mirrored)
    if len(seen.rows) < FEWEST:
        return None
    true = resample(film.motion.time_s, film.picture, seen.time_s)
    off = seen.plane - true
    both = np.isfinite(seen.second).all(axis=2)
    second = (seen.second - true[:, :SECOND])[both]
    off[:, :SECOND][both] = (off[:, :SECOND][both] + second) / 2.0
    return np.asarray(off / stature_px(film.picture, STANDING))


def sizes_of(paths: Sequence[Path]) -> tuple[FloatArray, float]:
    """Return the size of each joint's error in each film, and how much a film has in common.

    Parameters
    ----------
    paths : sequence of Path
        Packs, or folders of them.

    Returns
    -------
    sizes : ndarray, shape (F, 21)
        Root mean square of an axis, standing heights.
    shared : float
        Share of the mean square that is constant within a film.

    Raises
    ------
    ValueError
        If none of them holds a film of a serve.
    """
    found = [error for pack in packs_of(paths) for error in _of(pack)]
    if not found:
        raise ValueError("These packs hold no film of a serve.")
    squares = np.array([np.nanmean(error**2, axis=(0, 2)) for error in found])
    constant = np.array([np.mean(np.nanmean(error, axis=0) ** 2, axis=1) for error in found])
    return np.sqrt(squares), float(np.nanmean(constant) / np.nanmean(squares))


def _of(pack: Path) -> Iterator[FloatArray]:
    for film in read_films(pack):
        errors = serve_errors(film)
        if errors is not None and np.isfinite(errors).any(axis=(0, 2)).all():
            yield errors
