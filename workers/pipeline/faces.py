"""Hides the faces of everybody in the frames of a film: of the server by the track, of others by
the finder, which looks at these frames again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache

import numpy as np

from models.contract.skeleton import KEYPOINTS
from models.contract.tracks import JointTrack
from workers.pose.choice import FINDER
from workers.pose.finder import Person, find_everybody
from workers.pose.networks import Runner
from workers.pose.session import open_session
from workers.report.canvas import Picture
from workers.report.faces import Head, HeldHeads, ServerHeads, covered, heads_of

LOOK_S = 0.1
"""The finder looks again after so long: a walking person moves by about a head (working value)."""
POINT_SURE = 0.2
"""Least score of a joint that counts (working value)."""
_FACE = slice(0, 5)
"""Nose, eyes and ears among the 17 COCO keypoints."""

Find = Callable[[Picture], Sequence[Person]]


class FaceCover:
    """Covers the heads in the frames of one film, which come in order.

    Parameters
    ----------
    track : JointTrack
        The server.
    find : callable
        Returns everybody in a frame.
    """

    def __init__(self, track: JointTrack, find: Find) -> None:
        self._track = track
        self._server = ServerHeads(track)
        self._find = find
        self._others = HeldHeads()
        self._due = -np.inf

    def hidden(self, index: int, frame: Picture) -> Picture:
        """Return a frame, shape (height, width, 3), with every head covered."""
        time_s = self._time(index)
        server = self._server.at(time_s)
        found: list[Head] = []
        if time_s >= self._due:
            found = [head for one in self._find(frame) for head in heads_of_person(one)]
            # The server's is held by the track: held here too it would stay behind on the body.
            others = [head for head in found if not any(head.is_near(one) for one in server)]
            self._others.found(time_s, others)
            self._due = time_s + LOOK_S - 1e-9
        return covered(frame, (*server, *found, *self._others.at(time_s)))

    def all_hidden(self, frames: Mapping[int, Picture]) -> dict[int, Picture]:
        """Return single frames with every head covered; each is looked at."""
        made = {}
        for index in sorted(frames):
            self._due = -np.inf
            made[index] = self.hidden(index, frames[index])
        return made

    def film(
        self, frames: Iterable[tuple[int, Picture]], stretches: Sequence[tuple[float, float]]
    ) -> Iterator[tuple[int, Picture]]:
        """Yield the frames of a film with every head covered; those outside the stretches, in
        seconds, which nobody is going to look at, are black.
        """
        for index, frame in frames:
            time_s = self._time(index)
            if any(start <= time_s <= stop for start, stop in stretches):
                yield index, self.hidden(index, frame)
            else:
                yield index, np.zeros_like(frame)

    def _time(self, index: int) -> float:
        track = self._track
        return float(np.interp(index, track.frame_index, track.time_s))


def face_cover(track: JointTrack, finder: Runner | None = None) -> FaceCover:
    """Return what hides the faces of a film; without a finder the shipped one is opened."""
    run = finder or _shipped()
    return FaceCover(track, lambda frame: find_everybody(run, frame))


@cache
def _shipped() -> Runner:
    return open_session(FINDER)


def heads_of_person(person: Person) -> tuple[Head, ...]:
    """Return what to cover of a person that the finder saw."""
    points = np.where(person.keypoints[:, 2:] >= POINT_SURE, person.keypoints[:, :2], np.nan)
    return heads_of(
        points[_FACE],
        points[KEYPOINTS.pair("shoulder")],
        points[KEYPOINTS.pair("hip")],
        box=person.box,
    )
