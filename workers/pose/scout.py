"""Goes ahead of the close look: finds the people in small pictures and follows one of them.

As seldom as will do: somebody alone is looked for once a second, and looked at six times a second
while the hands are low.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from workers.pose.choice import Networks
from workers.pose.finder import find_people
from workers.pose.follow import Follower
from workers.pose.frames import Frame
from workers.pose.networks import Runner
from workers.pose.rows import Row, assemble, row_of, unseen
from workers.pose.track import Find, ServerChoice, choose_server

SURVEY_S = 0.2
"""Time between the finder's looks while nobody or several people are seen, seconds."""
ALONE_S = 1.0
"""... while one person is, seconds (working value: who walks into the picture stays for longer)."""

SLOW_S = 0.15
"""Time between looks at a person whose hands are low, seconds. A hand stays overhead for at least
0.25 s in a serve (rendered serves; working value)."""
LOW = 0.5
"""Hands are low while the wrists are so far under the shoulders, torso lengths (working value)."""

TELL_S = 2.5
"""Film time between two tellings of what was seen so far, seconds (working value)."""

SoFar = Callable[[JointTrack], bool]
"""Receives the coarse track of the film's beginning; True = has seen enough of it."""


def untold(_track: JointTrack) -> bool:
    """Want to know nothing before the film is read."""
    return True


class Scout:
    """Follows the server through small pictures, one after the other.

    Parameters
    ----------
    networks : Networks
        With a coarse one.
    server : ServerChoice, optional
        Whom to follow, pixels of the film; None = `find` chooses, ever anew.

    Attributes
    ----------
    finds : list of Find
        Pixels of the film.
    rows : list of Row
        Pixels of the film.
    crowd : bool
        Several people were seen in one picture.
    told : bool
        Whoever asked to be told has seen enough.
    """

    def __init__(self, networks: Networks, server: ServerChoice | None = None) -> None:
        self._networks = _cheap(networks)
        self._server = server
        self._follower: Follower | None = None
        self._find_due = self._look_due = -np.inf
        self._tell_due = TELL_S
        self.finds: list[Find] = []
        self.rows: list[Row] = []
        self.crowd = self.told = False

    def find(self, small: Frame, scale: float, width: int, height: int) -> None:
        """Look for people, if it is time, and choose the server among those seen so far."""
        if small.time_s < self._find_due:
            return
        self.finds.append(find_in(small, scale, self._networks.finder))
        count = len(self.finds[-1].people)
        self.crowd |= count > 1
        self._find_due = small.time_s + (ALONE_S if count == 1 else SURVEY_S) - 1e-9
        if not (self.crowd and self.told):
            self._server = choose_server(self.finds, width, height)
            if self._server is not None and self._follower is not None:
                self._follower.server = self._server.scaled(1.0 / scale)

    def look(self, small: Frame, scale: float) -> None:
        """Look at the server, if it is time; ``scale`` = pixels of the film per pixel here."""
        if small.time_s < self._look_due:
            return
        if self._server is None:
            self.rows.append(unseen(small))
            return
        if self._follower is None:
            self._follower = Follower(self._networks, self._server.scaled(1.0 / scale))
        row = row_of(small, self._follower, self._networks)
        self.rows.append(row.scaled(scale))
        self._look_due = small.time_s + (SLOW_S if hands_low(row) else 0.0) - 1e-9

    def tell(self, so_far: SoFar, time_s: float, width: int, height: int) -> None:
        """Tell what was seen so far, if it is time."""
        if self.told or time_s < self._tell_due or self._server is None:
            return
        self._tell_due = time_s + TELL_S
        track = coarse_of(self.rows, self._server, self._networks, width, height)
        self.told = track is not None and so_far(track)


def coarse_of(
    rows: Sequence[Row], server: ServerChoice, networks: Networks, width: int, height: int
) -> JointTrack | None:
    """The coarse track of these rows; None where nobody was followed."""
    if not any(np.isfinite(row.blaze).any() for row in rows):
        return None
    return assemble(rows, server, _cheap(networks), width, height)[0]


def find_in(small: Frame, scale: float, finder: Runner) -> Find:
    """Everybody in a small picture, pixels of the film."""
    people = (person.scaled(scale) for person in find_people(finder, small.rgb))
    return Find(small.time_s, small.index, tuple(people))


def hands_low(row: Row) -> bool:
    """Whether both wrists are well under the shoulders; not where nobody is seen."""
    height = -row.blaze[:, 1]
    shoulder = height[LANDMARKS.pair("shoulder")].mean()
    torso = abs(shoulder - height[LANDMARKS.pair("hip")].mean())
    return bool(np.all(height[LANDMARKS.pair("wrist")] < shoulder - LOW * torso))


def _cheap(networks: Networks) -> Networks:
    """The coarse network alone."""
    assert networks.coarse is not None
    return replace(
        networks, blazepose=networks.coarse, movenet=None, names=(networks.coarse_name, "none")
    )
