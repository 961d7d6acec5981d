"""Frames of a film for what shows two sides beside each other, with faces hidden if asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from models.contract.tracks import JointTrack
from workers.pipeline.faces import FaceCover
from workers.report.both_views import shown_span
from workers.report.canvas import Picture
from workers.report.matching import Side
from workers.video.clip import grab_frames, open_clip
from workers.video.limits import DecodeLimits

Cover = Callable[[JointTrack], FaceCover]
"""Makes what hides the faces in the film of a track."""


def with_frames(
    side: Side,
    wanted: Sequence[int],
    film: Path,
    capture_fps: float | None,
    limits: DecodeLimits,
    cover: Cover | None,
) -> Side:
    """Return a side with frames of its film; ``cover`` None = faces are shown."""
    grabbed = grab_frames(film, wanted, limits, capture_fps=capture_fps)
    frames = {index: frame.rgb for index, frame in grabbed.items()}
    if cover is not None:
        frames = cover(side.track).all_hidden(frames)
    return replace(side, frames=frames)


def film_frames(
    side: Side,
    film: Path,
    capture_fps: float | None,
    limits: DecodeLimits,
    cover: Cover | None,
    stack: ExitStack,
) -> Iterator[tuple[int, Picture]]:
    """Return the frames of a side's film in order; the stack closes it."""
    clip = stack.enter_context(open_clip(film, limits, capture_fps=capture_fps))
    frames = ((frame.index, frame.rgb) for frame in clip)
    return frames if cover is None else cover(side.track).film(frames, shown_span(side))
