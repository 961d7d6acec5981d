"""Two repetitions at one body scale, both turned the same way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from models.contract.analysis import Repetition
from models.contract.annotations import Mark
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName, Handedness
from workers.report.canvas import Picture
from workers.report.crop import Crop, racket_tip
from workers.report.figure import Figure, figure_at
from workers.report.own_lines import spots_of


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison: one repetition of one clip.

    Attributes
    ----------
    label : str
        What to call it: "before", "6 May", a player.
    frames : mapping of int to ndarray, shape (height, width, 3), uint8
        RGB frames by index, for pictures; films take their frames elsewhere.
    body, centre_of_mass : BodyMotion and ndarray, shape (T, 3), or None
        As for `event_pictures`.
    own : mapping of EventName to tuple of Mark
        The coach's own lines on the pictures of these instants.
    """

    label: str
    repetition: Repetition
    track: JointTrack
    handedness: Handedness
    frames: Mapping[int, Picture] = field(default_factory=dict)
    body: BodyMotion | None = None
    centre_of_mass: FloatArray | None = None
    own: Mapping[EventName, tuple[Mark, ...]] = field(default_factory=dict)

    def figure(self, frame: int) -> Figure:
        """Return the figure of one frame."""
        return figure_at(frame, self.track, self.handedness, self.body, self.centre_of_mass)

    def event_frame(self, event: EventName) -> int | None:
        """Return the frame of an event, or None."""
        found = self.repetition.events.get(event)
        return None if found is None else found.frame


def body_length_px(track: JointTrack, start_s: float, end_s: float) -> float | None:
    """Return the length of trunk, thigh and shank in the picture, pixels, as if standing.

    The upper end of what is seen over a window: bending and turning only ever shorten a segment.
    None when the chain is never seen.
    """
    rows = (track.time_s >= start_s) & (track.time_s <= end_s)
    if not rows.any():
        return None
    seen = np.asarray(track.xy[rows], dtype=np.float64)
    trunk = LANDMARKS.middle(seen, "shoulder") - LANDMARKS.middle(seen, "hip")
    lengths = [np.linalg.norm(trunk, axis=1)]
    for a, b in (("hip", "knee"), ("knee", "ankle")):
        both = np.linalg.norm(seen[:, LANDMARKS.pair(a)] - seen[:, LANDMARKS.pair(b)], axis=2)
        lengths.append(np.fmax(both[:, 0], both[:, 1]))
    total = 0.0
    for length in lengths:
        if not np.isfinite(length).any():
            return None
        total += float(np.nanpercentile(length, 95))
    return total if total > 0 else None


def matched_crops(
    first: Side,
    second: Side,
    events: Sequence[EventName],
    *,
    width: int = 720,
    tallest: int = 1080,
) -> tuple[Crop, Crop] | None:
    """Return two crops of one size that show both bodies equally large and on one floor line.

    When the hands differ, the left-hander is mirrored. None when a body is not seen well enough.
    """
    flips = [_flipped(side, first.handedness is not second.handedness) for side in (first, second)]
    anchors, lengths, clouds = [], [], []
    for side, flip in zip((first, second), flips, strict=True):
        length = body_length_px(side.track, side.repetition.start_s, side.repetition.end_s)
        figures = [
            side.figure(frame) for event in events if (frame := side.event_frame(event)) is not None
        ]
        points = [figure.extent() for figure in figures if figure.points]
        if length is None or not points:
            return None
        tall = max(float(np.ptp(cloud[:, 1])) for cloud in points)
        tips = [tip for figure in figures if (tip := racket_tip(figure, tall)) is not None]
        feet = _feet(figures)
        if feet is None:
            return None
        own = spots_of([mark for event in events for mark in side.own.get(event, ())])
        cloud = (np.vstack([*points, *tips, own]) - feet) / length
        if flip:
            cloud[:, 0] = -cloud[:, 0]
        anchors.append(feet)
        lengths.append(length)
        clouds.append(cloud)
    every = np.vstack(clouds)
    low, high = every.min(axis=0) - 0.15, every.max(axis=0) + 0.15
    span = high - low
    scale = min(width / span[0], tallest / span[1])
    crops = []
    for anchor, length, flip in zip(anchors, lengths, flips, strict=True):
        # The mirrored picture has its own left at the other end.
        left = -high[0] if flip else low[0]
        crops.append(
            Crop(
                left=float(anchor[0] + left * length),
                top=float(anchor[1] + low[1] * length),
                width=float(span[0] * length),
                height=float(span[1] * length),
                scale=float(scale / length),
                mirrored=flip,
            )
        )
    return crops[0], crops[1]


def _flipped(side: Side, differ: bool) -> bool:
    return differ and side.handedness is Handedness.LEFT


def _feet(figures: Sequence[Figure]) -> FloatArray | None:
    """Return the mid-point of the ankles in the first figure that shows both."""
    for figure in figures:
        ankles = figure.pair("ankle")
        if ankles is not None:
            return np.asarray((ankles[0] + ankles[1]) / 2)
    return None
