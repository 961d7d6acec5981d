"""The first reading of a film: who is there, and small pictures for a first look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workers.pose.finder import find_people
from workers.pose.frames import FrameSource
from workers.pose.networks import Runner
from workers.pose.proxy import Proxy
from workers.pose.track import Find

SURVEY_S = 0.2
"""Time between surveyed frames, seconds."""


@dataclass(frozen=True, slots=True)
class Survey:
    """What one reading left behind.

    Attributes
    ----------
    finds : list of Find
        Everybody in a few frames a second.
    width, height : int
        Size of the picture, pixels; 0 without frames.
    proxy : Proxy
    """

    finds: list[Find]
    width: int
    height: int
    proxy: Proxy


def survey(source: FrameSource, finder: Runner, *, keep: bool = True) -> Survey:
    """Read a film once.

    Parameters
    ----------
    keep : bool
        Also keep small pictures.
    """
    finds: list[Find] = []
    width = height = 0
    proxy = Proxy()
    due = -np.inf
    for frame in source():
        if keep:
            proxy.offer(frame)
        if frame.time_s < due:
            continue
        due = frame.time_s + SURVEY_S - 1e-9
        picture = frame.rgb
        height, width = picture.shape[:2]
        finds.append(Find(frame.time_s, frame.index, tuple(find_people(finder, picture))))
    return Survey(finds, width, height, proxy)
