"""Follows one person through a film: frames in, `JointTrack` out.

From coarse to fine. The first reading of the film (`survey`) finds the server and follows them
coarsely, with the cheapest network on small pictures. Whoever calls says which stretches of that
movement are worth a close look. Only these are read again, and only there the full networks look.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.errors import NoPerson
from models.contract.tracks import JointTrack
from workers.pose.beside import Beside
from workers.pose.budget import Budget
from workers.pose.choice import Networks
from workers.pose.follow import Follower
from workers.pose.frames import FloatArray, FrameSource, Stretch
from workers.pose.join import joined
from workers.pose.networks import LANDMARK_COUNT
from workers.pose.rows import assemble, row_of
from workers.pose.scout import SoFar, untold
from workers.pose.seldom import Due
from workers.pose.survey import survey, survey_closely
from workers.pose.track import ServerChoice, choose_server

WorthALook = Callable[[JointTrack], Sequence[Stretch]]
"""Which stretches of a coarse track deserve the full networks."""

WhereFast = Callable[[JointTrack], Sequence[Stretch]]
"""Where in a coarse track the body is fastest: there every frame is looked at (`budget`)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Result of the pose stage.

    Attributes
    ----------
    track : JointTrack
    server : ServerChoice
        Who was followed, and why.
    cut_off_hz : ndarray, shape (33, 2)
        Chosen cut-offs of the smoothing.
    redetections : int
        How often the finder had to be asked again.
    """

    track: JointTrack
    server: ServerChoice
    cut_off_hz: FloatArray
    redetections: int


def estimate(
    source: FrameSource,
    networks: Networks,
    progress: Callable[[float], None] = lambda time_s: None,
    worth_a_look: WorthALook | None = None,
    where_fast: WhereFast | None = None,
    so_far: SoFar = untold,
    *,
    threaded: bool = False,
) -> Estimate:
    """The server's joints: in what is worth a close look, coarsely elsewhere.

    Parameters
    ----------
    source : FrameSource
    networks : Networks
    progress : callable
        Called with the timestamp of each frame of the stretches, seconds.
    worth_a_look : callable, optional
        Receives the coarse track of the whole film. None = every frame is seen closely, as where
        the cheapest network can follow nobody.
    where_fast : callable, optional
        Receives the same; frames of the stretches are thinned away from what it returns. None =
        the networks look at all of their frames.
    so_far : callable
        Receives the coarse track now and then while the film is read, until it has enough.
    threaded : bool
        Run the second network in a thread of its own.

    Raises
    ------
    NoPerson
        If the survey sees nobody, or nobody can be followed.
    """
    coarsely = worth_a_look is not None and networks.coarse is not None
    seen = survey(source, networks, so_far) if coarsely else survey_closely(source, networks.finder)
    server = choose_server(seen.finds, seen.width, seen.height)
    if server is None:
        raise NoPerson
    coarse, stretches, fast = None, None, None
    if worth_a_look is not None and networks.coarse is not None:
        coarse = seen.coarse_track(server, networks)
        stretches = None if coarse is None else worth_a_look(coarse)
        if coarse is not None and not stretches:
            return Estimate(coarse, server, np.full((LANDMARK_COUNT, 2), np.nan), 0)
        fast = None if coarse is None or where_fast is None else where_fast(coarse)
    follower = Follower(networks, server)
    budget, due = Budget(fast), Due()
    rows = []
    with Beside(threaded=threaded) as beside:
        for frame in source(stretches):
            if budget.looks(frame.time_s):
                ask = fast is None or due.looks(frame.time_s)
                rows.append(row_of(frame, follower, networks, beside, ask_second=ask))
            progress(frame.time_s)
    if not any(np.isfinite(row.blaze).any() for row in rows):
        raise NoPerson
    track, cut_off = assemble(rows, server, networks, seen.width, seen.height)
    if coarse is not None and stretches is not None:
        track = joined(track, coarse, stretches)
    return Estimate(track, server, cut_off, follower.redetections)
