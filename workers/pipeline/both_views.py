"""What shows two films of one serve beside each other: reads both again, and hides faces if asked.

A missing extra must not fail an analysis: what cannot be shown is left out.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from models.contract.analysis import Analysis
from models.contract.tracks import JointTrack
from models.words import Words
from workers.engine.interface import EngineResult
from workers.engine.mass import centre_of_mass
from workers.pipeline.faces import FaceCover
from workers.pipeline.run import OtherFilm
from workers.report.both_views import both_sides, frames_of, shown_span, views_pictures
from workers.report.canvas import Picture
from workers.report.matching import Side
from workers.report.pair_film import FilmImpossible, pair_film
from workers.video.clip import grab_frames, open_clip
from workers.video.limits import DecodeLimits

LOG = logging.getLogger(__name__)

Cover = Callable[[JointTrack], FaceCover]
"""Makes what hides the faces in the film of a track."""


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
        with_frames: list[Side] = []
        for side, film, rate in zip(sides, films, rates, strict=True):
            grabbed = grab_frames(film, frames_of(side), limits, capture_fps=rate)
            frames = {index: frame.rgb for index, frame in grabbed.items()}
            if cover is not None:
                frames = cover(side.track).all_hidden(frames)
            with_frames.append(replace(side, frames=frames))
        pictures |= views_pictures(with_frames[0], with_frames[1], number, words)
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
                _frames(one, path, rate, limits, cover, stack),
                _frames(two, beside.path, None, limits, cover, stack),
                words=words,
            )
        except FilmImpossible as error:
            LOG.warning("no film of both views: %s", error)
            return None


def _frames(
    side: Side,
    film: Path,
    capture_fps: float | None,
    limits: DecodeLimits,
    cover: Cover | None,
    stack: ExitStack,
) -> Iterator[tuple[int, Picture]]:
    clip = stack.enter_context(open_clip(film, limits, capture_fps=capture_fps))
    frames = ((frame.index, frame.rgb) for frame in clip)
    return frames if cover is None else cover(side.track).film(frames, shown_span(side))


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
