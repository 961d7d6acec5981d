"""What a report says and shows of two films of one serve."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass

from models.contract.analysis import Analysis
from models.words import Words
from workers.report.both_views import views_name
from workers.report.instants import instants_of
from workers.report.page import PagePicture, page_picture
from workers.report.pictures import heading

LARGEST_FILM = 8 * 1024 * 1024
"""Largest film that a page holds inside it, bytes (working value: pages are sent by message)."""


@dataclass(frozen=True, slots=True)
class ViewsPart:
    """The section of both films; ``film`` is a data address, empty when the page holds none."""

    line: str
    pictures: tuple[PagePicture, ...]
    film: str = ""


def views_part(
    analysis: Analysis, pictures: Mapping[str, bytes], film: bytes | None, words: Words
) -> ViewsPart | None:
    """Return the section of an analysis of two films; None for one film.

    Parameters
    ----------
    pictures : mapping of str to bytes
        Names that are not of both views are left out.
    film : bytes or None
        Both films in step, MP4.
    """
    view = analysis.second_view
    if view is None:
        return None
    line = words(
        "views.line",
        apart=abs(view.apart_deg),
        apart_half=(view.apart_high - view.apart_low) / 2.0,
        side=words("views.to_right" if view.apart_deg > 0 else "views.to_left"),
        offset_half=500.0 * (view.offset_high - view.offset_low),
    )
    shown = []
    for number, repetition in enumerate(analysis.repetitions, start=1):
        for instant in instants_of(repetition):
            name = views_name(repetition, number, instant)
            if name in pictures:
                title = heading(repetition, number, instant.events, words)
                alt = words("views.alt", heading=title)
                shown.append(page_picture(pictures[name], alt, title))
    inside = film is not None and len(film) <= LARGEST_FILM
    address = ""
    if film is not None and inside:
        address = "data:video/mp4;base64," + base64.b64encode(film).decode("ascii")
    return ViewsPart(line, tuple(shown), address)
