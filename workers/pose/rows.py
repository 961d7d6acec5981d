"""One frame after another as the networks see it, and all of them as one track."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from workers.pose.beside import Beside
from workers.pose.choice import Networks
from workers.pose.crop import SquareCrop
from workers.pose.follow import Follower
from workers.pose.frames import FloatArray, Frame, Picture
from workers.pose.fuse import fuse, torso_length
from workers.pose.networks import (
    COCO_TO_LANDMARK,
    LANDMARK_COUNT,
    SIDE,
    Runner,
    movenet,
    turn_world,
)
from workers.pose.seldom import Looks
from workers.pose.sides import find_flips
from workers.pose.smooth import smooth_tracks
from workers.pose.track import ServerChoice

UPRIGHT_FACTOR = 0.95
"""Side of the MoveNet crop, which is not turned, in sides of the BlazePose crop."""

HAND_CUT_OFF = 1.4
"""Factor on the smoothing cut-off of wrists and hands. Measured on rendered serves: the
hitting wrist's velocity is most exact at 6 to 12 Hz, residual analysis finds 5 to 8."""


@dataclass(frozen=True, slots=True)
class Row:
    """One frame before fusion; pixels of the picture."""

    time_s: float
    index: int
    blaze: FloatArray
    second: FloatArray
    world: FloatArray
    score: float
    asked: bool = True
    """Whether the second network looks at it, if there is one."""

    def scaled(self, factor: float) -> Row:
        """The same in pixels of a picture `factor` times as large."""
        times = np.array([factor, factor, 1.0])
        return replace(self, blaze=self.blaze * times, second=self.second * times)


def unseen(frame: Frame) -> Row:
    """A frame in which the server is not seen."""
    nothing = np.full((LANDMARK_COUNT, 3), np.nan)
    return Row(frame.time_s, frame.index, nothing, nothing, nothing, 0.0)


def row_of(
    frame: Frame,
    follower: Follower,
    networks: Networks,
    beside: Beside | None = None,
    *,
    ask_second: bool = True,
) -> Row:
    """What the networks see of the server in one frame; NaN where lost.

    With ``beside`` the second network's answer is written into the row later, by the time that
    ends. Without ``ask_second`` there is none: `assemble` fills it in.
    """
    blaze = np.full((LANDMARK_COUNT, 3), np.nan)
    second = np.full((LANDMARK_COUNT, 3), np.nan)
    world = np.full((LANDMARK_COUNT, 3), np.nan)
    picture = frame.rgb
    seen = follower.step(frame.time_s, picture)
    if seen is None:
        return Row(frame.time_s, frame.index, blaze, second, world, 0.0, ask_second)
    crop, answer = seen
    blaze[:, :2] = crop.to_picture(answer.xy, SIDE)
    blaze[:, 2] = answer.confidence
    world[:] = turn_world(answer.world, crop.angle)
    if networks.movenet is not None and ask_second:
        look = _SecondLook(networks.movenet, crop.upright(UPRIGHT_FACTOR), picture, second)
        if beside is None:
            look()
        else:
            beside.do(look)
    return Row(frame.time_s, frame.index, blaze, second, world, answer.score, ask_second)


class _SecondLook:
    """The second network's look at a crop, which is cut at once and looked at when called.

    Parameters
    ----------
    out : ndarray, shape (33, 3)
        Receives the joints it sees, pixels of the picture, and their scores.
    """

    def __init__(self, run: Runner, crop: SquareCrop, picture: Picture, out: FloatArray) -> None:
        self._run, self._crop, self._out = run, crop, out
        self._cut = crop.cut(picture, SIDE)

    def __call__(self) -> None:
        points = movenet(self._run, self._cut)
        self._out[list(COCO_TO_LANDMARK), :2] = self._crop.to_picture(points[:, :2], SIDE)
        self._out[list(COCO_TO_LANDMARK), 2] = points[:, 2]


def assemble(
    rows: Sequence[Row], server: ServerChoice, networks: Networks, width: int, height: int
) -> tuple[JointTrack, FloatArray]:
    """Fuse and smooth all frames; also the chosen cut-offs, shape (33, 2), Hz."""
    time_s = np.array([row.time_s for row in rows])
    blaze = np.stack([row.blaze for row in rows])
    second = np.stack([row.second for row in rows])
    world = np.stack([row.world for row in rows])
    has_second = networks.movenet is not None
    looks = Looks(time_s, np.array([row.asked for row in rows]))
    held = looks.held(second) if has_second else blaze
    flips = find_flips(time_s, blaze, held, torso_length(blaze))
    blaze, second, world = flips.undo(blaze, 0), flips.undo(held, 1), flips.undo(world, 0)
    second = looks.between(blaze, second)
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
        server_clear=server.clear,
    )
    return track, smooth.cut_off_hz
