"""Two repetitions at the same instants, side by side at the same body size."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image

from models.contract.analysis import Metric
from models.contract.annotations import Mark
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.thresholds import Threshold
from models.contract.vocabulary import EventName
from models.words import Words, english
from workers.report.canvas import Layer, jpeg, text_width, wrapped
from workers.report.crop import Crop
from workers.report.goals import share_goal, thresholds_or_shipped
from workers.report.instants import instants_of
from workers.report.marks import draw, swatch
from workers.report.matching import Side, matched_crops
from workers.report.own_lines import draw_own
from workers.report.palette import INK, MUTED, PAPER, RULE
from workers.report.pictures import PLAIN, metrics_at

GAP = 12
"""Pixels between the two pictures."""
MOST = 5
"""Most values under one pair."""
PLAIN_WIDTH = 720
"""Largest side of a pair without numbers, pixels: twice the width of a phone."""


def matched_pictures(
    first: Side,
    second: Side,
    *,
    thresholds: Sequence[Threshold] | None = None,
    words: Words | None = None,
) -> dict[str, bytes]:
    """Return two JPEG pictures per instant that both sides have: ``pair-trophy.jpg`` with numbers,
    ``pair-trophy-plain.jpg`` small and without.

    Both bodies are shown equally large and standing on one line; the left-hander is mirrored when
    the hands differ. Empty when either body is not seen well enough to be scaled. Where the weight
    should fall is drawn by the thresholds of the practice rules; None = the shipped ones.
    """
    words = words or english()
    goals = thresholds_or_shipped(thresholds)
    others = {one.events[0] for one in instants_of(second.repetition)}
    shared = [
        event
        for event in (one.events[0] for one in instants_of(first.repetition))
        if event in others
        and first.event_frame(event) in first.frames
        and second.event_frame(event) in second.frames
    ]
    crops = matched_crops(first, second, shared) if shared else None
    if crops is None:
        return {}
    made: dict[str, bytes] = {}
    for event in shared:
        goal = share_goal(goals, [event])
        photos = [
            _photo(side, crop, frame, goal, side.own.get(event, ()), words)
            for side, crop in zip((first, second), crops, strict=True)
            if (frame := side.event_frame(event)) is not None
        ]
        pair = _pair(photos, (first, second), crops, event, words)
        made[pair_name(event)] = jpeg(pair)
        made[pair_name(event, plain=True)] = jpeg(_plain(photos), PLAIN)
    return made


def pair_name(event: EventName, *, plain: bool = False) -> str:
    """Return the file name of a pair; ``plain``: of the one without numbers."""
    name = f"pair-{event.value.replace('_', '-')}"
    return f"{name}-plain.jpg" if plain else f"{name}.jpg"


def _photo(
    side: Side, crop: Crop, frame: int, goal: float | None, own: Sequence[Mark], words: Words
) -> Image.Image:
    """Return one side's frame with its marks."""
    image = crop.cut(side.frames[frame])
    layer = Layer(*image.size)
    unit = image.width / 170
    draw(layer, side.figure(frame), crop.place, words, unit=unit, goal=goal, labels=False)
    draw_own(layer, own, crop.place, words, unit=unit)
    return layer.over(image)


def _plain(photos: Sequence[Image.Image]) -> Image.Image:
    """Return two photos beside each other, small."""
    gap = Image.new("RGB", (GAP, photos[0].height), PAPER)
    parts = (photos[0], gap, photos[1])
    page = Image.new("RGB", (sum(p.width for p in parts), max(p.height for p in parts)), PAPER)
    left = 0
    for part in parts:
        page.paste(part, (left, 0))
        left += part.width
    page.thumbnail((PLAIN_WIDTH, PLAIN_WIDTH), Image.Resampling.LANCZOS)
    return page


def _pair(
    photos: Sequence[Image.Image],
    sides: tuple[Side, Side],
    crops: tuple[Crop, Crop],
    event: EventName,
    words: Words,
) -> Image.Image:
    width = photos[0].width + GAP + photos[1].width
    height = max(image.height for image in photos)
    base = max(width // 46, 14)
    rows = _rows(*sides, event)
    top, line = round(base * 4.2), round(base * 1.5)
    title_width = width * 0.42
    titles = [wrapped(words.title(row[0]), base, title_width - 4.2 * base) for row in rows]
    panel = sum(len(title) * line + base for title in titles) + base
    page = Image.new("RGB", (width, top + height + base + panel), PAPER)
    layer = Layer(*page.size)
    layer.text((base, base * 1.8), words.event(event), round(base * 1.3), INK, bold=True)
    lefts = (0, photos[0].width + GAP)
    for image, side, crop, left in zip(photos, sides, crops, lefts, strict=True):
        page.paste(image, (left, top))
        label = (
            words("comparison.label_mirrored", label=side.label) if crop.mirrored else side.label
        )
        layer.text((left + base, top - base * 0.6), _cut(label, base, image.width), base, MUTED)
    y = top + height + base
    places: tuple[float, float] = (title_width, title_width + (width - title_width) / 2)
    for row, title in zip(rows, titles, strict=True):
        mark = CATALOGUE.drawn(row[0].key).mark
        if mark:
            swatch(layer, mark, (base, y + line * 0.5), base)
        for n, text in enumerate(title):
            layer.text((3.4 * base, y + (n + 0.72) * line), text, base, INK)
        for metric, x in zip(row, places, strict=True):
            _number(layer, metric, (x, y + 0.72 * line), base, words)
        y += len(title) * line + base
        layer.box((base, y - base * 0.6, width - base, y - base * 0.6 + 1), RULE, 1)
    return layer.over(page)


def _rows(first: Side, second: Side, event: EventName) -> list[tuple[Metric, Metric]]:
    """Pair the numbers both sides have; those measured on both sides come first."""
    others = {m.key: m for m in second.repetition.metrics if m.event is event}
    pairs = [
        (metric, others[metric.key])
        for metric in metrics_at(first.repetition, [event], most=100)
        if metric.key in others
    ]
    pairs.sort(key=lambda pair: not (pair[0].measurable and pair[1].measurable))
    return pairs[:MOST]


def _number(layer: Layer, metric: Metric, at: tuple[float, float], base: int, words: Words) -> None:
    if metric.value is None or metric.low is None or metric.high is None:
        layer.text(at, words("picture.not_measurable"), round(base * 0.9), MUTED)
        return
    value = words.value(metric.value, metric)
    size = round(base * 1.2)
    layer.text(at, value, size, INK, bold=True)
    interval = words("picture.interval", interval=words.interval(metric.low, metric.high, metric))
    right = at[0] + text_width(value, size, bold=True) + base * 0.6
    layer.text((right, at[1]), interval, round(base * 0.8), MUTED)


def _cut(text: str, size: int, width: int) -> str:
    """Shorten a label that would not fit."""
    while text and text_width(text, size) > width - 2 * size:
        text = text[:-2].rstrip() + "…"
    return text
