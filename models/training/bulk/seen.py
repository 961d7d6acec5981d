"""A rendered film through the project's own pose stage: what both networks see, frame by frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.contract.errors import NoPerson
from models.training.rendered.rotation import Array
from workers.pose.choice import Networks, open_networks
from workers.pose.follow import Follower
from workers.pose.frames import Stretch
from workers.pose.rows import Row, row_of
from workers.pose.survey import survey_closely
from workers.pose.track import choose_server


@dataclass(frozen=True)
class DrawnFrame:
    """A frame that never was in a file."""

    index: int
    time_s: float
    rgb: np.ndarray


@lru_cache(maxsize=1)
def networks() -> Networks:
    """The default pair, one thread each, opened once a process."""
    return open_networks()


def seen(pictures: Sequence[np.ndarray], times: Array) -> list[Row]:
    """Every frame through both networks, in pixels of the pictures; raw, before fusion.

    Raises
    ------
    NoPerson
        If the survey finds nobody.
    """
    frames = [
        DrawnFrame(i, float(t), picture)
        for i, (t, picture) in enumerate(zip(times, pictures, strict=True))
    ]

    def source(stretches: Sequence[Stretch] | None = None, /) -> list[DrawnFrame]:
        return frames

    opened = networks()
    found = survey_closely(source, opened.finder)
    server = choose_server(found.finds, found.width, found.height)
    if server is None:
        raise NoPerson
    follower = Follower(opened, server)
    return [row_of(frame, follower, opened) for frame in frames]
