"""Follows one person live: a picture in, what the cheapest network sees out, nothing kept."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from workers.pose.choice import FINDER, BlazePoseVariant, Networks
from workers.pose.finder import find_people
from workers.pose.follow import Follower
from workers.pose.frames import Frame
from workers.pose.rows import Row, row_of, unseen
from workers.pose.session import Device, open_session
from workers.pose.track import Find, choose_server

LOOK_AGAIN_S = 1.0
"""Time between the finder's looks while nobody is followed, seconds (working value)."""
FINDS = 5
"""Finds from which the person is chosen, the last ones."""


def live_networks(device: str = Device.CPU.value, threads: int = 1) -> Networks:
    """Open the finder and the cheapest network that gives all landmarks; no second network.

    Raises
    ------
    ModelFileDamaged, ComputeDeviceUnavailable
    """
    chosen = Device(device)
    return Networks(
        finder=open_session(FINDER, chosen, threads),
        blazepose=open_session(BlazePoseVariant.FULL.value, chosen, threads),
        movenet=None,
        names=(BlazePoseVariant.FULL.value, "none"),
    )


@dataclass
class LiveLook:
    """One person, from picture to picture."""

    networks: Networks
    _finds: list[Find] = field(default_factory=list)
    _follower: Follower | None = None
    _due: float = float("-inf")

    def look(self, frame: Frame) -> Row:
        """Return what is seen in the next picture; NaN where nobody is."""
        height, width = frame.rgb.shape[:2]
        if self._follower is None:
            if frame.time_s < self._due:
                return unseen(frame)
            self._due = frame.time_s + LOOK_AGAIN_S
            people = tuple(find_people(self.networks.finder, frame.rgb))
            self._finds = [*self._finds[1 - FINDS :], Find(frame.time_s, frame.index, people)]
            server = choose_server(self._finds, width, height)
            if server is None:
                return unseen(frame)
            self._follower = Follower(self.networks, server)
        row = row_of(frame, self._follower, self.networks)
        if row.score == 0.0:
            self._follower = None
        return replace(row, asked=False)
