"""A film whose close reading is also watched for what is no joint: the ball, repeated pictures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from models.contract.sightings import Sightings
from models.contract.tracks import JointTrack
from workers.pipeline.film import Film
from workers.pose.frames import Frame
from workers.sight.watch import Watcher

BESIDE, OVER = 1.0, 1.5
"""How far from a person things are kept, in the person's height in the picture: a toss rises one
to one and a half metres over the head (working values)."""
OWN = 0.08
"""Room about the joints within which an edge is the person's, in the longer side of their box
(working value)."""


@dataclass
class Watched:
    """Passes the frames of a film on; those of every reading after the first are watched.

    The first reading is the survey: it goes over the whole film, the second only over what is
    worth a close look.
    """

    film: Film
    _watcher: Watcher = field(default_factory=Watcher)
    _readings: int = 0

    def __call__(
        self, stretches: Sequence[tuple[float, float]] | None = None, /
    ) -> Iterator[Frame]:
        """Yield the frames of one reading."""
        self._readings += 1
        close = self._readings > 1
        for frame in self.film(stretches):
            if close:
                self._watcher.show(frame.index, frame.time_s, frame.rgb)
            yield frame

    def sightings(self) -> Sightings:
        """Return what was seen and heard."""
        heard = self.film.heard
        pairs = np.array(heard or [], np.float64).reshape(-1, 2)
        return replace(
            self._watcher.sightings(),
            heard_s=pairs[:, 0],
            heard_db=pairs[:, 1],
            sound=heard is not None,
        )

    def completed(self, track: JointTrack) -> JointTrack:
        """Return a track of this film with the sightings about the person."""
        return replace(track, sightings=about(self.sightings(), track))


def about(sightings: Sightings, track: JointTrack) -> Sightings:
    """Return the sightings without things far from the person (crowd, leaves, others), and without
    edges that are the person's own.
    """
    seen = track.xy[np.isfinite(track.xy).all(axis=(1, 2))]
    if len(seen) == 0:
        return sightings
    low, high = seen.min(axis=(0, 1)), seen.max(axis=(0, 1))
    tall = float(np.median(seen[..., 1].max(axis=1) - seen[..., 1].min(axis=1)))
    reach = np.array([BESIDE, OVER]) * tall
    near = ((sightings.thing_xy > low - reach) & (sightings.thing_xy < high + reach)).all(axis=1)
    return replace(
        sightings,
        thing_frame=sightings.thing_frame[near],
        thing_xy=sightings.thing_xy[near],
        thing_half=sightings.thing_half[near],
        thing_width=sightings.thing_width[near],
        thing_score=sightings.thing_score[near],
        **_beside(sightings, track),
    )


def _beside(sightings: Sightings, track: JointTrack) -> dict[str, Any]:
    """Return the edges whose middle lies outside the box about the person in their frame."""
    known = np.flatnonzero(np.isfinite(track.xy).all(axis=(1, 2)))
    row = known[np.abs(track.frame_index[known] - sightings.edge_frame[:, None]).argmin(axis=1)]
    box = np.stack([track.xy[row].min(axis=1), track.xy[row].max(axis=1)])
    room = OWN * (box[1] - box[0]).max(axis=-1, keepdims=True)
    middle = sightings.edge_ends.mean(axis=1)
    own = ((middle > box[0] - room) & (middle < box[1] + room)).all(axis=1)
    return {"edge_frame": sightings.edge_frame[~own], "edge_ends": sightings.edge_ends[~own]}
