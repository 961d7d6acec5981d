"""Follows one person through a film: frames in, `JointTrack` out.

From coarse to fine. The first reading of the film (`survey`) finds everybody in a few frames a
second, chooses the server, and keeps small pictures. On those the cheapest network takes a first
look at the movement; whoever calls says which stretches of it are worth a close look. Only these
are read again, and only there every frame goes through the full networks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.contract.errors import NoPerson
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from workers.pose.budget import Budget
from workers.pose.choice import Networks
from workers.pose.follow import Follower
from workers.pose.frames import FloatArray, Frame, FrameSource, Stretch
from workers.pose.fuse import fuse, torso_length
from workers.pose.join import joined
from workers.pose.networks import (
    COCO_TO_LANDMARK,
    LANDMARK_COUNT,
    SIDE,
    movenet,
    turn_world,
)
from workers.pose.proxy import Proxy
from workers.pose.sides import find_flips
from workers.pose.smooth import smooth_tracks
from workers.pose.survey import survey
from workers.pose.track import ServerChoice, choose_server

UPRIGHT_FACTOR = 0.95
"""Side of the MoveNet crop, which is not turned, in sides of the BlazePose crop."""

HAND_CUT_OFF = 1.4
"""Factor on the smoothing cut-off of wrists and hands. Measured on rendered serves: the
hitting wrist's velocity is most exact at 6 to 12 Hz, residual analysis finds 5 to 8."""

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

    Raises
    ------
    NoPerson
        If the survey sees nobody, or nobody can be followed.
    """
    coarsely = worth_a_look is not None and networks.coarse is not None
    seen = survey(source, networks.finder, keep=coarsely)
    server = choose_server(seen.finds, seen.width, seen.height)
    if server is None:
        raise NoPerson
    coarse, stretches, fast = None, None, None
    if worth_a_look is not None and networks.coarse is not None:
        coarse = first_look(seen.proxy, server, networks, seen.width, seen.height)
        stretches = None if coarse is None else worth_a_look(coarse)
        if coarse is not None and not stretches:
            return Estimate(coarse, server, np.full((LANDMARK_COUNT, 2), np.nan), 0)
        fast = None if coarse is None or where_fast is None else where_fast(coarse)
    follower = Follower(networks, server)
    budget = Budget(fast)
    rows = []
    for frame in source(stretches):
        if budget.looks(frame.time_s):
            rows.append(row_of(frame, follower, networks))
        progress(frame.time_s)
    if not any(np.isfinite(row.blaze).any() for row in rows):
        raise NoPerson
    track, cut_off = assemble(rows, server, networks, seen.width, seen.height)
    if coarse is not None and stretches is not None:
        track = joined(track, coarse, stretches)
    return Estimate(track, server, cut_off, follower.redetections)


def first_look(
    proxy: Proxy, server: ServerChoice, networks: Networks, width: int, height: int
) -> JointTrack | None:
    """The server's joints in the kept pictures, by the cheapest network alone; film pixels.

    None if it can follow nobody.
    """
    assert networks.coarse is not None
    cheap = replace(
        networks, blazepose=networks.coarse, movenet=None, names=(networks.coarse_name, "none")
    )
    follower = Follower(cheap, server.scaled(1.0 / proxy.scale))
    rows = [row_of(frame, follower, cheap).scaled(proxy.scale) for frame in proxy]
    if not any(np.isfinite(row.blaze).any() for row in rows):
        return None
    return assemble(rows, server, cheap, width, height)[0]


@dataclass(frozen=True, slots=True)
class Row:
    """One frame before fusion; pixels of the picture."""

    time_s: float
    index: int
    blaze: FloatArray
    second: FloatArray
    world: FloatArray
    score: float

    def scaled(self, factor: float) -> Row:
        """The same in pixels of a picture `factor` times as large."""
        times = np.array([factor, factor, 1.0])
        return replace(self, blaze=self.blaze * times, second=self.second * times)


def row_of(frame: Frame, follower: Follower, networks: Networks) -> Row:
    """What the networks see of the server in one frame; NaN where lost."""
    blaze = np.full((LANDMARK_COUNT, 3), np.nan)
    second = np.full((LANDMARK_COUNT, 3), np.nan)
    world = np.full((LANDMARK_COUNT, 3), np.nan)
    picture = frame.rgb
    seen = follower.step(frame.time_s, picture)
    if seen is None:
        return Row(frame.time_s, frame.index, blaze, second, world, 0.0)
    crop, answer = seen
    blaze[:, :2] = crop.to_picture(answer.xy, SIDE)
    blaze[:, 2] = answer.confidence
    world[:] = turn_world(answer.world, crop.angle)
    if networks.movenet is not None:
        upright = crop.upright(UPRIGHT_FACTOR)
        points = movenet(networks.movenet, upright.cut(picture, SIDE))
        second[list(COCO_TO_LANDMARK), :2] = upright.to_picture(points[:, :2], SIDE)
        second[list(COCO_TO_LANDMARK), 2] = points[:, 2]
    return Row(frame.time_s, frame.index, blaze, second, world, answer.score)


def assemble(
    rows: Sequence[Row], server: ServerChoice, networks: Networks, width: int, height: int
) -> tuple[JointTrack, FloatArray]:
    """Fuse and smooth all frames; also the chosen cut-offs, shape (33, 2), Hz."""
    time_s = np.array([row.time_s for row in rows])
    blaze = np.stack([row.blaze for row in rows])
    second = np.stack([row.second for row in rows])
    world = np.stack([row.world for row in rows])
    has_second = networks.movenet is not None
    flips = find_flips(time_s, blaze, second if has_second else blaze, torso_length(blaze))
    blaze, second, world = flips.undo(blaze, 0), flips.undo(second, 1), flips.undo(world, 0)
    fused = fuse(time_s, blaze, second if has_second else None, width, height)
    raised = np.ones(LANDMARK_COUNT)
    hands = [LANDMARKS.pair(part) for part in ("wrist", "pinky", "index", "thumb")]
    raised[np.ravel(hands)] = HAND_CUT_OFF
    smooth = smooth_tracks(time_s, fused.xy, raised)
    sources = {networks.names[0]: blaze}
    if has_second:
        sources[networks.names[1]] = second
    track = JointTrack(
        time_s=time_s,
        frame_index=np.array([row.index for row in rows], dtype=np.int64),
        xy=smooth.values,
        xy_raw=fused.xy,
        confidence=fused.confidence,
        world=world,
        score=np.array([row.score for row in rows]),
        disagreement_px=fused.disagreement_px,
        width=width,
        height=height,
        people=server.people_at(time_s),
        sources=sources,
    )
    return track, smooth.cut_off_hz
