"""The clip with its marks, events and live numbers, slow at the events."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image

from models.contract.analysis import Analysis, Repetition
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.thresholds import Threshold
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.canvas import Layer, Picture, text_width
from workers.report.crop import Crop, around
from workers.report.encoder import film
from workers.report.figure import figure_at
from workers.report.goals import share_goal, thresholds_or_shipped
from workers.report.instants import ShownInstant, named, stops_of
from workers.report.live import Reading, known_readings
from workers.report.marks import draw, swatch
from workers.report.pace import Pace, nearest, showings
from workers.report.palette import BALANCE, INK, MUTED, PAPER, RULE
from workers.report.pictures import metrics_at

MARGIN_S = 0.4
"""Shown before and after a repetition."""

NUMBERS = 4
"""Most values beside one stop."""


@dataclass(frozen=True, slots=True)
class _Scene:
    """One repetition, ready to be drawn."""

    repetition: Repetition
    number: int
    body: BodyMotion | None
    centre_of_mass: FloatArray | None
    live: tuple[Reading, ...]
    stops: tuple[ShownInstant, ...]
    start_s: float
    end_s: float


def annotated_film(
    frames: Iterable[tuple[int, Picture]],
    analysis: Analysis,
    track: JointTrack,
    bodies: Sequence[BodyMotion | None] = (),
    centre_of_mass: Sequence[FloatArray | None] = (),
    *,
    width: int = 720,
    pace: Pace | None = None,
    thresholds: Sequence[Threshold] | None = None,
    words: Words | None = None,
) -> bytes:
    """Return an MP4 film (H.264, yuv420p) of all repetitions, slow about the loaded instant and
    contact, where it stands still.

    Parameters
    ----------
    frames : iterable of (int, ndarray of shape (height, width, 3), uint8)
        RGB frames with their index, rising; read once, one at a time.
    bodies, centre_of_mass
        As for `event_pictures`; without them there are no live numbers and no plumb line.
    thresholds
        As for `event_pictures`.

    Raises
    ------
    ValueError
        When there is nothing to show: no repetition, or no frame of any.
    """
    words = words or english()
    pace = pace or Pace()
    goals = thresholds_or_shipped(analysis.thresholds if thresholds is None else thresholds)
    scenes = _scenes(analysis, track, bodies, centre_of_mass)
    if not scenes:
        raise ValueError("there is no repetition to show")
    crop = _crop(scenes, analysis, track, width)
    size = (crop.size[0], crop.size[1] + _panel_height(crop.size[0]))
    source = FrameReader(frames)
    shown = 0
    with film(size, pace.rate) as (encoder, made):
        for scene in scenes:
            plan = showings(scene.start_s, scene.end_s, [s.time_s for s in scene.stops], pace)
            rows = nearest(track.time_s, np.array([moment.time_s for moment in plan]))
            last: tuple[int, int | None] | None = None
            picture: Image.Image | None = None
            for moment, row in zip(plan, rows, strict=True):
                if (row, moment.event) != last or picture is None:
                    frame = source.at(int(track.frame_index[row]))
                    if frame is None:
                        break
                    picture = _picture(
                        frame, scene, row, moment.event, crop, analysis, track, goals, words
                    )
                    last = (row, moment.event)
                encoder.add(picture)
                shown += 1
        if not shown:
            raise ValueError("none of the frames belongs to a repetition")
    return made[0]


class FrameReader:
    """Reads rising frames only as far as needed, and holds one."""

    def __init__(self, frames: Iterable[tuple[int, Picture]]) -> None:
        self._frames: Iterator[tuple[int, Picture]] = iter(frames)
        self._held: tuple[int, Picture] | None = None

    def at(self, index: int) -> Picture | None:
        """Return the frame of an index or the first one after it; None past the end."""
        while self._held is None or self._held[0] < index:
            self._held = next(self._frames, None)
            if self._held is None:
                return None
        return self._held[1]


def _scenes(
    analysis: Analysis,
    track: JointTrack,
    bodies: Sequence[BodyMotion | None],
    centre_of_mass: Sequence[FloatArray | None],
) -> list[_Scene]:
    scenes: list[_Scene] = []
    first, last = float(track.time_s[0]), float(track.time_s[-1])
    for i, repetition in enumerate(analysis.repetitions):
        earliest = scenes[-1].end_s if scenes else first
        start = max(repetition.start_s - MARGIN_S, earliest)
        end = min(repetition.end_s + MARGIN_S, last)
        if end <= start:
            continue
        body = bodies[i] if i < len(bodies) else None
        com = centre_of_mass[i] if i < len(centre_of_mass) else None
        scenes.append(
            _Scene(
                repetition=repetition,
                number=i + 1,
                body=body,
                centre_of_mass=com,
                live=tuple(known_readings(body, repetition, com)) if body is not None else (),
                stops=tuple(s for s in stops_of(repetition) if start <= s.time_s <= end),
                start_s=start,
                end_s=end,
            )
        )
    return scenes


def _crop(scenes: Sequence[_Scene], analysis: Analysis, track: JointTrack, width: int) -> Crop:
    """Return one crop that holds the player through all repetitions."""
    figures = []
    for scene in scenes:
        rows = np.flatnonzero((track.time_s >= scene.start_s) & (track.time_s <= scene.end_s))
        for row in rows[:: max(1, len(rows) // 40)]:
            frame = int(track.frame_index[row])
            figures.append(
                figure_at(frame, track, analysis.handedness, scene.body, scene.centre_of_mass)
            )
    crop = around(
        [figure for figure in figures if figure.points],
        track.width,
        track.height,
        shown_width=width,
        shown_height=round(width * 1.3),
    )
    return crop.even()


def _panel_height(width: int) -> int:
    return round(width * 0.27) // 2 * 2


def _picture(
    frame: Picture,
    scene: _Scene,
    row: int,
    stop: int | None,
    crop: Crop,
    analysis: Analysis,
    track: JointTrack,
    goals: Sequence[Threshold],
    words: Words,
) -> Image.Image:
    photo = crop.cut(frame)
    index = int(track.frame_index[row])
    figure = figure_at(index, track, analysis.handedness, scene.body, scene.centre_of_mass)
    layer = Layer(*photo.size)
    events = scene.stops[stop].events if stop is not None else ()
    goal = share_goal(goals, events)
    draw(layer, figure, crop.place, words, unit=photo.width / 180, goal=goal, labels=False)
    width, height = photo.size
    page = Image.new("RGB", (width, height + _panel_height(width)), PAPER)
    page.paste(layer.over(photo), (0, 0))
    strip = Layer(width, _panel_height(width))
    time_s = float(track.time_s[row])
    _progress(strip, scene, time_s, width)
    base = width // 30
    if events:
        title = named(events, words)
    else:
        kind = words(f"kind.{scene.repetition.kind.value}")
        title = words("film.between", kind=kind, number=scene.number)
    strip.text((base, base * 2.4), title, round(base * 1.15), INK, bold=bool(events))
    strip.text((width - base, base * 2.4), words.seconds(time_s), base, MUTED, anchor="rs")
    _numbers(strip, scene, index, events, base, width, words)
    page.paste(strip.over(page.crop((0, height, *page.size))), (0, height))
    return page


def _progress(strip: Layer, scene: _Scene, time_s: float, width: int) -> None:
    """Draw where the film is, with a tick at each stop."""
    edge = width / 30

    def at(moment: float) -> float:
        share = (moment - scene.start_s) / (scene.end_s - scene.start_s)
        return edge + share * (width - 2 * edge)

    y = width / 50
    strip.stroke([(edge, y), (width - edge, y)], RULE, width / 180, casing=0)
    strip.stroke([(edge, y), (max(at(time_s), edge + 1), y)], MUTED, width / 180, casing=0)
    for stop in scene.stops:
        passed = time_s >= stop.time_s - 1e-6
        x = at(stop.time_s)
        colour = BALANCE if passed else MUTED
        strip.stroke([(x, y - width / 90), (x, y + width / 90)], colour, width / 160, casing=0)


def _numbers(
    strip: Layer,
    scene: _Scene,
    frame: int,
    events: Sequence[EventName],
    base: int,
    width: int,
    words: Words,
) -> None:
    """Write the numbers: measured ones with their interval at a stop, live ones between."""
    rows: list[tuple[str, str, str, str]] = []
    for metric in metrics_at(scene.repetition, events):
        if metric.value is not None and metric.low is not None and metric.high is not None:
            interval = words.interval(metric.low, metric.high, metric)
            rows.append(
                (
                    metric.key,
                    words.title(metric),
                    words.value(metric.value, metric),
                    words("picture.interval", interval=interval),
                )
            )
    if not rows and scene.body is not None:
        at = int(np.argmin(np.abs(scene.body.frame_index - frame)))
        if scene.body.frame_index[at] == frame:
            for reading in scene.live:
                now, sd = float(reading.value[at]), float(reading.sd[at])
                if np.isfinite(now) and np.isfinite(sd):
                    spread = "± " + words.difference(Z95 * sd, reading, sign=False)
                    text = words.value(now, reading)
                    rows.append((reading.key, words.title(reading), text, spread))
    column = (width - base) / 2
    small = round(base * 0.8)
    for i, (key, title, value, spread) in enumerate(rows[:NUMBERS]):
        x = base + (i % 2) * column
        y = base * (4.1 + 2.2 * (i // 2))
        mark = CATALOGUE.drawn(key).mark
        if mark:
            swatch(strip, mark, (x, y - small * 0.35), small)
        strip.text((x + 2.4 * small, y), _fitting(title, small, column - 3.4 * small), small, MUTED)
        strip.text((x + 2.4 * small, y + base), value, base, INK, bold=True)
        right = x + 3 * small + text_width(value, base, bold=True)
        strip.text((right, y + base), spread, small, MUTED)


def _fitting(text: str, size: int, width: float) -> str:
    while text and text_width(text, size) > width:
        text = text[:-2].rstrip() + "…"
    return text
