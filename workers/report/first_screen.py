"""What a reader sees first."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from workers.report.from_coach import NOTHING, FromCoach
from workers.report.page import PagePicture


@dataclass(frozen=True, slots=True)
class FirstScreen:
    """What a reader sees first: a sentence, a pair of pictures or a plot, one thing to do next.

    ``pair`` holds up to two pictures that stand beside each other; ``under`` what stands below
    each half of a single picture of two; ``coach`` is what the coach adds.
    """

    sentence: str
    next_lines: tuple[str, ...]
    pair: tuple[PagePicture, ...] = ()
    under: tuple[str, ...] = ()
    plot: Markup | None = None
    plot_title: str = ""
    coach: FromCoach = NOTHING
