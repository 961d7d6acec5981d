"""What shows two films of one serve beside each other: reads both again, and hides faces if asked.

A missing extra must not fail an analysis: what cannot be shown is left out.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from models.contract.analysis import Analysis
from models.contract.tracks import JointTrack
from models.words import Words
from workers.engine.interface import EngineResult
from workers.engine.mass import centre_of_mass
from workers.pipeline.run import OtherFilm
from workers.pipeline.side_frames import Cover, film_frames, with_frames
from workers.report.both_views import both_sides, frames_of, views_pictures
from workers.report.matching import Side
from workers.report.pair_film import FilmImpossible, pair_film
from workers.video.limits import DecodeLimits

LOG = logging.getLogger(__name__)


def draw_views(
    path: Path,
    analysis: Analysis,
    track: JointTrack,
    found: EngineResult,
    words: Words,
    beside: OtherFilm,
    limits: DecodeLimits,
    cover: Cover | None = None,
) -> dict[str, bytes]:
    """Return the pictures of both films at the instants of each repetition, JPEG by name."""
    pictures: dict[str, bytes] = {}
    films = (path, beside.path)
    rates = (analysis.clip.capture_fps_given, None)
    for number, sides in enumerate(_sides(analysis, track, found, words, beside), start=1):
        first, second = (
            with_frames(side, frames_of(side), film, rate, limits, cover)
            for side, film, rate in zip(sides, films, rates, strict=True)
        )
        pictures |= views_pictures(first, second, number, words)
    return pictures


def film_views(
    path: Path,
    analysis: Analysis,
    track: JointTrack,
    found: EngineResult,
    words: Words,
    beside: OtherFilm,
    limits: DecodeLimits,
    cover: Cover | None = None,
) -> bytes | None:
    """Return both films in step over the first repetition, MP4; None when that cannot be."""
    sides = next(iter(_sides(analysis, track, found, words, beside)), None)
    if sides is None:
        return None
    one, two = sides
    rate = analysis.clip.capture_fps_given
    with ExitStack() as stack:
        try:
            return pair_film(
                one,
                two,
                film_frames(one, path, rate, limits, cover, stack),
                film_frames(two, beside.path, None, limits, cover, stack),
                words=words,
            )
        except FilmImpossible as error:
            LOG.warning("no film of both views: %s", error)
            return None


def _sides(
    analysis: Analysis, track: JointTrack, found: EngineResult, words: Words, beside: OtherFilm
) -> Sequence[tuple[Side, Side]]:
    view = analysis.second_view
    if view is None:
        return []
    return [
        both_sides(
            repetition,
            (track, beside.track),
            view,
            analysis.handedness,
            words,
            body=body,
            centre_of_mass=None if body is None else centre_of_mass(body.joints, analysis.sex),
        )
        for repetition, body in zip(analysis.repetitions, found.bodies, strict=True)
    ]
