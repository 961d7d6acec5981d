"""Two repetitions in one film, at the same point of the serve and the same body size."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from PIL import Image

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.annotated_film import MARGIN_S, FrameReader
from workers.report.canvas import Layer, Picture
from workers.report.crop import Crop
from workers.report.encoder import film
from workers.report.instants import SLOWED, TOGETHER_S
from workers.report.marks import draw
from workers.report.matching import Side, matched_crops
from workers.report.pace import Pace, nearest, showings
from workers.report.palette import INK, MUTED, PAPER

GAP = 8
"""Pixels between the two pictures."""


class FilmImpossible(ValueError):
    """Two repetitions cannot be shown in one film; ``reason`` is a word of the table no_film."""

    def __init__(self, reason: str, message: str) -> None:
        super().__init__(message)
        self.reason = reason


def pair_film(
    first: Side,
    second: Side,
    first_frames: Iterable[tuple[int, Picture]],
    second_frames: Iterable[tuple[int, Picture]],
    *,
    width: int = 480,
    pace: Pace | None = None,
    words: Words | None = None,
) -> bytes:
    """Return an MP4 film (H.264, yuv420p) of two repetitions side by side.

    The film runs on the clock of the first; between two shared events the second is stretched or
    squeezed so that both reach each event together. Bodies are shown equally large; the
    left-hander is mirrored when the hands differ.

    Parameters
    ----------
    first_frames, second_frames : iterable of (int, ndarray of shape (height, width, 3), uint8)
        RGB frames with their index, rising; read once, one at a time.
    width : int
        Width of each of the two pictures, pixels.

    Raises
    ------
    FilmImpossible
        With fewer than two shared events, a body too badly seen to be scaled, or no frames.
    """
    words = words or english()
    pace = pace or Pace()
    events, one, two = shared_events(first, second)
    crops = matched_crops(first, second, events, width=width, tallest=round(width * 1.5))
    if crops is None:
        raise FilmImpossible("sizes", "a body is not seen well enough to show both equally large")
    pair = (crops[0].even(), crops[1].even())
    start = max(one[0] - MARGIN_S, float(first.track.time_s[0]))
    end = min(one[-1] + MARGIN_S, float(first.track.time_s[-1]))
    stops = [i for i, event in enumerate(events) if event in SLOWED]
    plan = showings(start, end, [float(one[i]) for i in stops], pace)
    wanted = np.array([moment.time_s for moment in plan])
    rows = (
        nearest(first.track.time_s, wanted),
        nearest(second.track.time_s, warped(wanted, one, two)),
    )
    shown_width = min(pair[0].size[0], pair[1].size[0])
    shown_height = min(pair[0].size[1], pair[1].size[1])
    base = width // 24
    head = base * 4 // 2 * 2
    size = (2 * shown_width + GAP, shown_height + head)
    readers = (FrameReader(first_frames), FrameReader(second_frames))
    last: tuple[int, int, int | None] | None = None
    page: Image.Image | None = None
    shown = 0
    with film(size, pace.rate) as (encoder, made):
        for moment, row_one, row_two in zip(plan, *rows, strict=True):
            if page is None or (row_one, row_two, moment.event) != last:
                page = Image.new("RGB", size, PAPER)
                complete = True
                for i, (side, row) in enumerate(((first, row_one), (second, row_two))):
                    frame = readers[i].at(int(side.track.frame_index[row]))
                    if frame is None:
                        complete = False
                        break
                    photo = _photo(side, frame, row, pair[i], words)
                    photo = photo.crop((0, 0, shown_width, shown_height))
                    page.paste(photo, (i * (shown_width + GAP), head))
                if not complete:
                    break
                event = None if moment.event is None else events[stops[moment.event]]
                page = _headed(page, (first, second), pair, event, base, shown_width, words)
                last = (row_one, row_two, moment.event)
            encoder.add(page)
            shown += 1
        if not shown:
            raise FilmImpossible("no_frames", "there are no frames to show")
    return made[0]


def shared_events(first: Side, second: Side) -> tuple[list[EventName], FloatArray, FloatArray]:
    """Return the events both have, in order of time, and their times on either clip, seconds.

    An event that would turn the order round, or that falls upon the one before it, is left out.
    """
    both = [e for e in EventName if e in first.repetition.events and e in second.repetition.events]
    both.sort(key=lambda e: first.repetition.events[e].time_s)
    events: list[EventName] = []
    times: list[tuple[float, float]] = []
    for event in both:
        pair = (first.repetition.events[event].time_s, second.repetition.events[event].time_s)
        if times and min(pair[0] - times[-1][0], pair[1] - times[-1][1]) < TOGETHER_S:
            continue
        events.append(event)
        times.append(pair)
    if len(events) < 2:
        raise FilmImpossible("few_events", "the two share fewer than two events")
    return events, np.array([t[0] for t in times]), np.array([t[1] for t in times])


def warped(time_s: FloatArray, first_s: FloatArray, second_s: FloatArray) -> FloatArray:
    """Return the second clip's times at the first one's; outside the events both run alike."""
    inside = np.interp(time_s, first_s, second_s)
    early, late = time_s < first_s[0], time_s > first_s[-1]
    inside = np.where(early, second_s[0] + (time_s - first_s[0]), inside)
    return np.asarray(np.where(late, second_s[-1] + (time_s - first_s[-1]), inside))


def _photo(side: Side, frame: Picture, row: int, crop: Crop, words: Words) -> Image.Image:
    image = crop.cut(frame)
    layer = Layer(*image.size)
    figure = side.figure(int(side.track.frame_index[row]))
    draw(layer, figure, crop.place, words, unit=image.width / 160, labels=False)
    return layer.over(image)


def _headed(
    page: Image.Image,
    sides: tuple[Side, Side],
    crops: tuple[Crop, Crop],
    event: EventName | None,
    base: int,
    shown_width: int,
    words: Words,
) -> Image.Image:
    """Write the labels and, at a stop, the event."""
    layer = Layer(*page.size)
    if event is not None:
        middle = page.width / 2
        layer.text((middle, base * 1.5), words.event(event), base, INK, bold=True, anchor="ms")
    for i, (side, crop) in enumerate(zip(sides, crops, strict=True)):
        label = (
            words("comparison.label_mirrored", label=side.label) if crop.mirrored else side.label
        )
        x = i * (shown_width + GAP) + base
        layer.text((x, base * 3.2), label, round(base * 0.85), MUTED)
    return layer.over(page)
