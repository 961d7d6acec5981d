"""Two films of one serve at the same instants: the same body seen from two places."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from PIL import Image

from models.contract.analysis import Event, Metric, Repetition
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.views import SecondView
from models.contract.vocabulary import EventName, Handedness
from models.words import Words
from workers.report.annotated_film import MARGIN_S
from workers.report.canvas import Layer, jpeg, text_width, wrapped
from workers.report.crop import Crop
from workers.report.goals import share_goal, thresholds_or_shipped
from workers.report.instants import ShownInstant, instants_of
from workers.report.marks import draw, swatch
from workers.report.matching import Side, matched_crops
from workers.report.palette import INK, MUTED, PAPER, RULE
from workers.report.pictures import heading, metrics_at, picture_name

GAP = 12
"""Pixels between the two pictures."""
MOST = 6
"""Most values under the two pictures."""
PREFIX = "views-"
"""Before the name that the picture of one film has."""


def views_name(repetition: Repetition, number: int, instant: ShownInstant) -> str:
    """Return the file name of a picture of both views: ``views-serve-1-trophy.jpg``."""
    return PREFIX + picture_name(repetition, number, instant.events[0])


def both_sides(
    repetition: Repetition,
    tracks: tuple[JointTrack, JointTrack],
    view: SecondView,
    hand: Handedness,
    words: Words,
    *,
    body: BodyMotion | None = None,
    centre_of_mass: FloatArray | None = None,
) -> tuple[Side, Side]:
    """Return one repetition as two films show it.

    Parameters
    ----------
    tracks : JointTrack, JointTrack
        Of the first and the second film, each on its film's clock.
    view : SecondView
        How the clocks differ.
    body, centre_of_mass : optional
        Drawn into the first film, whose camera they were fitted to.
    """
    one, two = tracks
    labels = words("views.first_film"), words(
        "views.second_film", apart=abs(view.apart_deg), side=_side(view, words)
    )  # fmt: skip
    later: dict[EventName, Event] = {}
    for name, event in repetition.events.items():
        time_s = event.time_s + view.offset_s
        if not two.time_s[0] <= time_s <= two.time_s[-1]:
            continue
        row = int(np.argmin(np.abs(two.time_s - time_s)))
        later[name] = event.model_copy(
            update={"time_s": time_s, "frame": int(two.frame_index[row])}
        )
    return (
        Side(labels[0], repetition, one, hand, body=body, centre_of_mass=centre_of_mass),
        Side(labels[1], _at(repetition, later, view.offset_s), two, hand),
    )


def _at(repetition: Repetition, events: Mapping[EventName, Event], offset_s: float) -> Repetition:
    return repetition.model_copy(
        update={
            "events": dict(events),
            "start_s": repetition.start_s + offset_s,
            "end_s": repetition.end_s + offset_s,
        }
    )


def _side(view: SecondView, words: Words) -> str:
    # who looks further to the left stands further to the right
    return words("views.to_right" if view.apart_deg > 0 else "views.to_left")


def frames_of(side: Side) -> list[int]:
    """Return the frames of a side that `views_pictures` shows."""
    frames = [side.event_frame(one.events[0]) for one in instants_of(side.repetition)]
    return [frame for frame in frames if frame is not None]


def views_pictures(first: Side, second: Side, number: int, words: Words) -> dict[str, bytes]:
    """Return a JPEG of both films at each instant that both hold, by file name.

    Both bodies are shown equally large and standing on one line; the numbers are those of the body
    that both films give. Empty when the body is not seen well enough in one of them.

    Parameters
    ----------
    number : int
        Of the repetition, from 1.
    """
    goals = thresholds_or_shipped(None)
    shared = [
        one
        for one in instants_of(first.repetition)
        if first.event_frame(one.events[0]) in first.frames
        and second.event_frame(one.events[0]) in second.frames
    ]
    crops = matched_crops(first, second, [one.events[0] for one in shared]) if shared else None
    if crops is None:
        return {}
    made = {}
    for instant in shared:
        goal = share_goal(goals, instant.events)
        photos = [
            _photo(side, crop, instant, goal, words)
            for side, crop in zip((first, second), crops, strict=True)
        ]
        title = heading(first.repetition, number, instant.events, words)
        rows = metrics_at(first.repetition, instant.events, most=100)
        known = [metric for metric in rows if metric.measurable][:MOST]
        page = _page(photos, (first.label, second.label), title, known, words)
        made[views_name(first.repetition, number, instant)] = jpeg(page)
    return made


def shown_span(side: Side) -> list[tuple[float, float]]:
    """Return the seconds of its film that a side shows, with room beside them."""
    times = [event.time_s for event in side.repetition.events.values()]
    room = 2 * MARGIN_S
    return [(min(times) - room, max(times) + room)] if times else []


def _photo(
    side: Side, crop: Crop, instant: ShownInstant, goal: float | None, words: Words
) -> Image.Image:
    frame = side.event_frame(instant.events[0])
    assert frame is not None
    image = crop.cut(side.frames[frame])
    layer = Layer(*image.size)
    unit = image.width / 170
    draw(layer, side.figure(frame), crop.place, words, unit=unit, goal=goal, labels=False)
    return layer.over(image)


def _page(
    photos: list[Image.Image],
    labels: tuple[str, str],
    title: str,
    rows: list[Metric],
    words: Words,
) -> Image.Image:
    """Lay out two photos with what the one body in them measures."""
    width = photos[0].width + GAP + photos[1].width
    height = max(image.height for image in photos)
    base = max(width // 46, 14)
    line = round(base * 1.5)
    top = round(base * 4.2)
    names = [wrapped(words.title(row), base, width * 0.58 - 4.2 * base) for row in rows]
    panel = sum(len(name) * line + base for name in names) + base
    page = Image.new("RGB", (width, top + height + base + panel), PAPER)
    layer = Layer(*page.size)
    layer.text((base, base * 1.8), title, round(base * 1.3), INK, bold=True)
    left = 0
    for image, label in zip(photos, labels, strict=True):
        page.paste(image, (left, top))
        layer.text((left + base, top - base * 0.6), label, base, MUTED)
        left += image.width + GAP
    y = float(top + height + base)
    for row, name in zip(rows, names, strict=True):
        mark = CATALOGUE.drawn(row.key).mark
        if mark:
            swatch(layer, mark, (base, y + line * 0.5), base)
        for n, text in enumerate(name):
            layer.text((3.4 * base, y + (n + 0.72) * line), text, base, INK)
        _number(layer, row, (width * 0.58, y + 0.72 * line), base, words)
        y += len(name) * line + base
        layer.box((base, y - base * 0.6, width - base, y - base * 0.6 + 1), RULE, 1)
    return layer.over(page)


def _number(layer: Layer, metric: Metric, at: tuple[float, float], base: int, words: Words) -> None:
    assert metric.value is not None
    assert metric.low is not None
    assert metric.high is not None
    value = words.value(metric.value, metric)
    size = round(base * 1.2)
    layer.text(at, value, size, INK, bold=True)
    interval = words("picture.interval", interval=words.interval(metric.low, metric.high, metric))
    right = at[0] + text_width(value, size, bold=True) + base * 0.6
    layer.text((right, at[1]), interval, round(base * 0.9), MUTED)
