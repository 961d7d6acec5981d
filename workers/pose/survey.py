"""The first reading of a film: who is there, and how the server moves, coarsely."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from models.contract.tracks import JointTrack
from workers.pose.choice import Networks
from workers.pose.finder import find_people
from workers.pose.frames import Frame, FrameSource
from workers.pose.networks import Runner
from workers.pose.proxy import Proxy
from workers.pose.rows import Row
from workers.pose.scout import SURVEY_S, Scout, SoFar, coarse_of, find_in, untold
from workers.pose.track import Find, ServerChoice

MOST_FINDS = 150
"""Among several people the finder looks at so many pictures of a film, evenly: enough for the fifth
and 95th percentile of a hand's height (`track`); working value."""


@dataclass(frozen=True, slots=True)
class Survey:
    """What one reading left behind.

    Attributes
    ----------
    finds : list of Find
        Everybody in a few frames a second, pixels of the film.
    width, height : int
        Size of the picture, pixels; 0 without frames.
    proxy : Proxy
        Small pictures; none of a survey that a close look at everything follows.
    rows : list of Row
        The only person, coarsely followed; None where there are several, of whom the server is
        chosen when the film is known.
    """

    finds: list[Find]
    width: int
    height: int
    proxy: Proxy = field(default_factory=Proxy)
    rows: list[Row] | None = None

    def coarse_track(self, server: ServerChoice, networks: Networks) -> JointTrack | None:
        """The server's joints by the cheapest network alone; None if it can follow nobody."""
        if self.rows is not None:
            return coarse_of(self.rows, server, networks, self.width, self.height)
        scout = Scout(networks, server)
        for small in self.proxy:
            scout.look(small, self.proxy.scale)
        return coarse_of(scout.rows, server, networks, self.width, self.height)


def survey(source: FrameSource, networks: Networks, so_far: SoFar = untold) -> Survey:
    """Read a film once: find everybody, keep small pictures, follow the server on them.

    Parameters
    ----------
    so_far : callable
        Receives the coarse track of what has been read now and then, until it says that it has
        enough.
    """
    scout = Scout(networks)
    proxy = Proxy()
    width = height = 0
    for frame in source():
        small = proxy.offer(frame)
        if small is None:
            continue
        if not width:
            height, width = frame.rgb.shape[:2]
        scout.find(small, proxy.scale, width, height)
        if scout.crowd and scout.told:
            continue
        scout.look(small, proxy.scale)
        scout.tell(so_far, small.time_s, width, height)
    if not scout.crowd:
        return Survey(scout.finds, width, height, proxy, scout.rows)
    finds = _more(scout.finds, proxy, networks.finder)
    return Survey(finds, width, height, proxy)


def survey_closely(source: FrameSource, finder: Runner) -> Survey:
    """Read a film once, before a close look at every frame: find everybody, keep nothing."""
    finds: list[Find] = []
    width = height = 0
    due = -np.inf
    for frame in source():
        if frame.time_s < due:
            continue
        due = frame.time_s + SURVEY_S - 1e-9
        height, width = frame.rgb.shape[:2]
        finds.append(Find(frame.time_s, frame.index, tuple(find_people(finder, frame.rgb))))
    return Survey(finds, width, height)


def _more(finds: list[Find], proxy: Proxy, finder: Runner) -> list[Find]:
    """Return finds at even intervals over all kept pictures, those there are among them."""
    there = {find.index: find for find in finds}
    last = max((small.time_s for small in proxy), default=0.0)
    every = max(SURVEY_S, last / MOST_FINDS)
    return [
        there[small.index] if small.index in there else find_in(small, proxy.scale, finder)
        for small in _spread(proxy, every)
    ]


def _spread(pictures: Iterable[Frame], every_s: float) -> list[Frame]:
    """Return pictures at least so many seconds apart."""
    kept: list[Frame] = []
    for small in pictures:
        if not kept or small.time_s >= kept[-1].time_s + every_s - 1e-9:
            kept.append(small)
    return kept
