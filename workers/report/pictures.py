"""Still pictures of the key instants, with the marks and the measured numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PIL import Image

from models.contract.analysis import Analysis, Metric, Repetition
from models.contract.annotations import AngleMark, Annotations, Mark
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.thresholds import Threshold
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report import panel
from workers.report.canvas import Layer, Picture, jpeg
from workers.report.crop import Crop, around
from workers.report.figure import Figure, figure_at
from workers.report.goals import share_goal, thresholds_or_shipped
from workers.report.instants import ShownInstant, instants_of, named
from workers.report.marks import draw, marks_of
from workers.report.own_lines import draw_own, spots_of

MOST = 6
"""Numbers in a panel: more would not be read."""
PLAIN_WIDTH, PLAIN_HEIGHT = 480, 560
"""Largest size of a picture without numbers, pixels: two stand side by side on a phone."""
PLAIN = 80
"""JPEG quality of these: they stand small on a page."""


def picture_name(
    repetition: Repetition, number: int, event: EventName, *, plain: bool = False
) -> str:
    """Return the file name of a picture; ``number`` counts repetitions from 1.

    ``plain``: the one without numbers.
    """
    name = f"{repetition.kind.value}-{number}-{event.value.replace('_', '-')}"
    return f"{name}-plain.jpg" if plain else f"{name}.jpg"


def frames_wanted(analysis: Analysis) -> tuple[int, ...]:
    """Return the frame indices that `event_pictures` needs, in order."""
    every = (instants_of(repetition) for repetition in analysis.repetitions)
    return tuple(sorted({instant.frame for found in every for instant in found}))


def event_pictures(
    frames: Mapping[int, Picture],
    analysis: Analysis,
    track: JointTrack,
    bodies: Sequence[BodyMotion | None] = (),
    centre_of_mass: Sequence[FloatArray | None] = (),
    *,
    thresholds: Sequence[Threshold] | None = None,
    own: Annotations | None = None,
    words: Words | None = None,
) -> dict[str, bytes]:
    """Return two JPEG pictures per repetition and pictured instant, by file name: with numbers, and
    a small one without.

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
    thresholds : sequence of Threshold or None
        Of the practice rules; where the weight should fall is drawn by these. None = those of the
        analysis.
    own : Annotations or None
        The coach's own lines; pictures reach as far as these do.
    words : Words
        Catalogue; English by default.
    """
    words = words or english()
    goals = thresholds_or_shipped(analysis.thresholds if thresholds is None else thresholds)
    pictures: dict[str, bytes] = {}
    for number, repetition in enumerate(analysis.repetitions, start=1):
        body = bodies[number - 1] if number <= len(bodies) else None
        com = centre_of_mass[number - 1] if number <= len(centre_of_mass) else None
        # One crop for all pictures of a repetition, whichever of its frames are here.
        instants = instants_of(repetition)
        here = [instant for instant in instants if instant.frame in frames]
        if not here:
            continue
        figures = [
            figure_at(instant.frame, track, analysis.handedness, body, com) for instant in instants
        ]
        size = (track.width, track.height)
        names = [picture_name(repetition, number, instant.events[0]) for instant in instants]
        lines = {name: () if own is None else own.on(name) for name in names}
        spots = spots_of([mark for marks in lines.values() for mark in marks])
        crop = around(figures, *size, also=spots)
        plain_size = {"shown_width": PLAIN_WIDTH, "shown_height": PLAIN_HEIGHT}
        small = around(figures, *size, **plain_size, also=spots)
        for instant, figure in zip(instants, figures, strict=True):
            if instant not in here:
                continue
            frame, event = frames[instant.frame], instant.events[0]
            goal = share_goal(goals, instant.events)
            name = picture_name(repetition, number, event)
            with_numbers = _picture(
                frame, figure, crop, repetition, number, instant, goal, lines[name], words
            )
            pictures[name] = jpeg(with_numbers)
            share = _share(repetition, instant)
            alone = _photo(frame, figure, small, share, goal, lines[name], words)
            pictures[picture_name(repetition, number, event, plain=True)] = jpeg(alone, PLAIN)
    return pictures


def metrics_at(
    repetition: Repetition, events: Sequence[EventName], most: int = MOST
) -> list[Metric]:
    """Return the numbers that go with an instant: measured ones first, then why others lack."""
    here = [m for m in repetition.metrics if m.event in events]
    order = {metric.key: i for i, metric in enumerate(CATALOGUE.ranked())}
    here.sort(key=lambda m: (not m.measurable, order.get(m.key, len(order))))
    once: dict[str, Metric] = {}
    for metric in here:  # what is read at both of two joined events is said once
        once.setdefault(metric.key, metric)
    return list(once.values())[:most]


def _share(repetition: Repetition, instant: ShownInstant) -> Metric | None:
    """Return the share of the weight at an instant, with or without a value."""
    return next(
        (
            m
            for m in repetition.metrics
            if CATALOGUE.drawn(m.key).at_feet and m.event in instant.events
        ),
        None,
    )


def _photo(
    frame: Picture,
    figure: Figure,
    crop: Crop,
    share: Metric | None,
    goal: float | None,
    own: Sequence[Mark],
    words: Words,
) -> Image.Image:
    """Return the frame with its marks, without names and numbers."""
    photo = crop.cut(frame)
    layer = Layer(*photo.size)
    shown = share if share is not None and share.measurable else None
    unit = photo.width / 115
    draw(layer, figure, crop.place, words, unit=unit, share=shown, goal=goal, labels=False)
    draw_own(layer, own, crop.place, words, unit=unit)
    return layer.over(photo)


def _picture(
    frame: Picture,
    figure: Figure,
    crop: Crop,
    repetition: Repetition,
    number: int,
    instant: ShownInstant,
    goal: float | None,
    own: Sequence[Mark],
    words: Words,
) -> Image.Image:
    photo = crop.cut(frame)
    layer = Layer(*photo.size)
    share = _share(repetition, instant)
    shown_share = share if share is not None and share.measurable else None
    unit = photo.width / 190
    draw(layer, figure, crop.place, words, unit=unit, share=shown_share, goal=goal)
    draw_own(layer, own, crop.place, words, unit=unit)
    notes = []
    if figure.balance is None:
        found = share.reason if share else None
        reason = words.note(found) if found else words("picture.no_balance_reason")
        notes.append(words("picture.no_balance", reason=reason))
    if figure.unsure:
        notes.append(words("picture.unsure"))
    if any(isinstance(mark, AngleMark) for mark in own):
        notes.append(words("picture.own_angles"))
    notes.append(words("picture.footer"))
    legend = [(mark, words(f"picture.{mark}")) for mark in marks_of(figure)]
    if figure.balance is not None and goal is not None:
        legend.append(("goal", words("picture.goal", share=words.percentage(goal))))
    if own:
        legend.append(("own", words("picture.own")))
    return panel.under(
        layer.over(photo),
        heading(repetition, number, instant.events, words),
        words("picture.time", time=words.seconds(instant.time_s)),
        legend,
        panel.entries(metrics_at(repetition, instant.events), words),
        notes,
    )


def heading(repetition: Repetition, number: int, events: Sequence[EventName], words: Words) -> str:
    """Return the heading of a picture."""
    return words(
        "picture.heading",
        kind=words(f"kind.{repetition.kind.value}"),
        number=number,
        event=named(events, words),
    )
