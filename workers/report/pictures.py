"""Still pictures of the key instants, with the marks and the measured numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from PIL import Image

from models.contract.analysis import Analysis, Metric, Repetition
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report import panel
from workers.report.canvas import Layer, Picture, jpeg
from workers.report.crop import Crop, around
from workers.report.figure import Figure, figure_at
from workers.report.marks import draw, marks_of

PICTURED: tuple[EventName, ...] = (EventName.LOADING, EventName.TROPHY, EventName.CONTACT)

MOST = 6
"""Numbers in a panel: more would not be read."""


def picture_name(repetition: Repetition, number: int, event: EventName) -> str:
    """Return the file name of a picture; ``number`` counts repetitions from 1."""
    return f"{repetition.kind.value}-{number}-{event.value.replace('_', '-')}.jpg"


def frames_wanted(analysis: Analysis) -> tuple[int, ...]:
    """Return the frame indices that `event_pictures` needs, in order."""
    return tuple(sorted({frame for _, _, _, frame in _instants(analysis)}))


def event_pictures(
    frames: Mapping[int, Picture],
    analysis: Analysis,
    track: JointTrack,
    bodies: Sequence[BodyMotion | None] = (),
    centre_of_mass: Sequence[FloatArray | None] = (),
    *,
    words: Words | None = None,
) -> dict[str, bytes]:
    """Return a JPEG picture per repetition and pictured event, by file name.

    Parameters
    ----------
    frames : mapping of int to ndarray, shape (height, width, 3), uint8
        RGB frames, upright, by frame index; `frames_wanted` lists those needed. A picture whose
        frame is missing is left out.
    track : JointTrack
        Landmarks in pixels of the same frames.
    bodies : sequence of BodyMotion or None
        One per repetition; without it the marks are those seen in the picture only.
    centre_of_mass : sequence of ndarray, shape (T, 3), or None
        Per repetition, metres, court frame, one row per row of its body. Needed for the plumb line.
    words : Words
        Catalogue; English by default.
    """
    words = words or english()
    pictures: dict[str, bytes] = {}
    for number, repetition in enumerate(analysis.repetitions, start=1):
        body = bodies[number - 1] if number <= len(bodies) else None
        com = centre_of_mass[number - 1] if number <= len(centre_of_mass) else None
        # One crop for all pictures of a repetition, whichever of its frames are here.
        instants = {
            event: repetition.events[event].frame
            for event in PICTURED
            if event in repetition.events
        }
        here = {event: frame for event, frame in instants.items() if frame in frames}
        if not here:
            continue
        figures = {
            event: figure_at(frame, track, analysis.handedness, body, com)
            for event, frame in instants.items()
        }
        crop = around(list(figures.values()), track.width, track.height)
        for event, frame in here.items():
            name = picture_name(repetition, number, event)
            pictures[name] = jpeg(
                _picture(frames[frame], figures[event], crop, repetition, number, event, words)
            )
    return pictures


def metrics_at(repetition: Repetition, event: EventName, most: int = MOST) -> list[Metric]:
    """Return the numbers that go with a picture: measured ones first, then why others lack."""
    here = [m for m in repetition.metrics if m.event is event]
    order = {metric.key: i for i, metric in enumerate(CATALOGUE.ranked())}
    here.sort(key=lambda m: (not m.measurable, order.get(m.key, len(order))))
    return here[:most]


def _picture(
    frame: Picture,
    figure: Figure,
    crop: Crop,
    repetition: Repetition,
    number: int,
    event: EventName,
    words: Words,
) -> Image.Image:
    photo = crop.cut(frame)
    layer = Layer(*photo.size)
    metrics = metrics_at(repetition, event)
    share = next(
        (m for m in repetition.metrics if CATALOGUE.drawn(m.key).at_feet and m.event is event),
        None,
    )
    shown_share = share if share is not None and share.measurable else None
    draw(layer, figure, crop.place, words, unit=photo.width / 190, share=shown_share)
    notes = []
    if figure.balance is None:
        found = share.reason if share else None
        reason = words.note(found) if found else words("picture.no_balance_reason")
        notes.append(words("picture.no_balance", reason=reason))
    if figure.unsure:
        notes.append(words("picture.unsure"))
    notes.append(words("picture.footer"))
    return panel.under(
        layer.over(photo),
        heading(repetition, number, event, words),
        words("picture.time", time=words.seconds(repetition.events[event].time_s)),
        [(mark, words(f"picture.{mark}")) for mark in marks_of(figure)],
        panel.entries(metrics, words),
        notes,
    )


def heading(repetition: Repetition, number: int, event: EventName, words: Words) -> str:
    """Return the heading of a picture."""
    return words(
        "picture.heading",
        kind=words(f"kind.{repetition.kind.value}"),
        number=number,
        event=words.event(event),
    )


def _instants(analysis: Analysis) -> Iterator[tuple[Repetition, int, EventName, int]]:
    for number, repetition in enumerate(analysis.repetitions, start=1):
        for event in PICTURED:
            if event in repetition.events:
                yield repetition, number, event, repetition.events[event].frame
