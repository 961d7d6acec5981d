"""Follows one person through a film: frames in, `JointTrack` out.

Two passes over the film. The survey looks at a few frames a second, finds everybody and
chooses the server. The second pass looks at every frame: the crop of a frame comes from
the circle around the body that BlazePose sees in the frame before, turned with the body,
so that a bent-over follow-through stays upright in the crop. When the network no longer
believes in its crop, or it has drifted from the person the survey saw, the finder is
asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from models.contract.errors import NoPerson
from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from workers.pose.choice import Networks
from workers.pose.crop import SquareCrop, ahead, around_body, around_circle
from workers.pose.finder import Person, find_people
from workers.pose.frames import FloatArray, Frame, FrameSource, Picture
from workers.pose.fuse import fuse, torso_length
from workers.pose.networks import (
    COCO_TO_LANDMARK,
    LANDMARK_COUNT,
    SIDE,
    BlazePoseAnswer,
    blazepose,
    movenet,
    turn_world,
)
from workers.pose.sides import find_flips
from workers.pose.smooth import smooth_tracks
from workers.pose.track import Find, ServerChoice, choose_server

SURVEY_S = 0.2
"""Time between surveyed frames, seconds."""

BODY_FACTOR = 1.16
"""Side of the BlazePose crop in diameters of the body circle.

Tried 1.0 to 1.35 on rendered serves: tighter cuts hands off, wider costs resolution.
"""

UPRIGHT_FACTOR = 0.95
"""Side of the MoveNet crop, which is not turned, in sides of the BlazePose crop."""

HAND_CUT_OFF = 1.4
"""Factor on the smoothing cut-off of wrists and hands. Measured on rendered serves: the
hitting wrist's velocity is most exact at 6 to 12 Hz, residual analysis finds 5 to 8."""

LONGEST_STEP = 1.5
"""The crop's motion is continued over at most so many of its last time steps."""

SEED_FACTOR = 1.15
"""Side of the first crop in diameters of the circle around the finder's joints."""

LOST = 0.5
"""The person is lost when BlazePose is less sure than this."""

DRIFT = 0.75
"""... or when its hips lie so many torso lengths from where the survey saw the server."""

SEED_AGE_S = 0.3
"""A find of the survey may start a crop if it is not farther away in time."""


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


@dataclass
class Follower:
    """Keeps the crop on one person from frame to frame."""

    networks: Networks
    server: ServerChoice
    redetections: int = 0
    _past: list[tuple[float, SquareCrop]] = field(default_factory=list)

    def step(self, time_s: float, picture: Picture) -> tuple[SquareCrop, BlazePoseAnswer] | None:
        """The server in this frame, or None if lost even after asking the finder."""
        following = bool(self._past)
        if following:
            crop = self._expected(time_s)
            answer = self._look(picture, crop)
            if answer.score >= LOST and not self._drifted(time_s, crop, answer):
                return self._keep(time_s, crop, answer)
        self._past.clear()
        seed = None if following else self.server.nearest(time_s, SEED_AGE_S)
        seed = seed or self._find_again(picture, time_s)
        if seed is None:
            return None
        crop = seed_crop(seed)
        answer = self._look(picture, crop)
        if answer.score >= LOST:
            # The finder's joints are coarse: look once more with the network's own circle.
            crop = next_crop(crop, answer)
            answer = self._look(picture, crop)
        return self._keep(time_s, crop, answer) if answer.score >= LOST else None

    def _expected(self, time_s: float) -> SquareCrop:
        if len(self._past) < 2:
            return self._past[-1][1]
        (t0, before), (t1, now) = self._past
        return ahead(before, now, min((time_s - t1) / (t1 - t0), LONGEST_STEP))

    def _look(self, picture: Picture, crop: SquareCrop) -> BlazePoseAnswer:
        return blazepose(self.networks.blazepose, crop.cut(picture, SIDE))

    def _keep(
        self, time_s: float, crop: SquareCrop, answer: BlazePoseAnswer
    ) -> tuple[SquareCrop, BlazePoseAnswer]:
        self._past = [*self._past[-1:], (time_s, next_crop(crop, answer))]
        return crop, answer

    def _drifted(self, time_s: float, crop: SquareCrop, answer: BlazePoseAnswer) -> bool:
        seen = self.server.nearest(time_s, 1e-6)
        if seen is None:
            return False
        hips = crop.to_picture(answer.xy[LANDMARKS.pair("hip")], SIDE).mean(axis=0)
        torso = float(np.hypot(*(seen.shoulders.mean(axis=0) - seen.hips.mean(axis=0))))
        torso = max(torso, seen.height / 5)
        return float(np.hypot(*(hips - seen.hips.mean(axis=0)))) > DRIFT * torso

    def _find_again(self, picture: Picture, time_s: float) -> Person | None:
        self.redetections += 1
        return self.server.pick(find_people(self.networks.finder, picture), time_s)


def seed_crop(person: Person) -> SquareCrop:
    """First crop around a find of the finder, turned with its torso."""
    corners = person.box[[[0, 1], [2, 1], [0, 3], [2, 3]]]
    sure = person.keypoints[:, 2] >= 0.2
    points = person.keypoints[sure, :2] if sure.sum() >= 8 else corners
    return around_body(points, person.shoulders, person.hips, SEED_FACTOR)


def next_crop(crop: SquareCrop, answer: BlazePoseAnswer) -> SquareCrop:
    """Crop for the next look, from the body circle seen in this one."""
    centre, rim = crop.to_picture(answer.circle, SIDE)
    return around_circle(centre, rim, BODY_FACTOR)


def survey(source: FrameSource, networks: Networks) -> tuple[list[Find], tuple[int, int]]:
    """Everybody in a few frames a second; also width and height of the picture."""
    finds: list[Find] = []
    size = (0, 0)
    due = -np.inf
    for frame in source():
        if frame.time_s < due:
            continue
        due = frame.time_s + SURVEY_S - 1e-9
        picture = frame.rgb
        size = (picture.shape[1], picture.shape[0])
        people = tuple(find_people(networks.finder, picture))
        finds.append(Find(frame.time_s, frame.index, people))
    return finds, size


def estimate(
    source: FrameSource,
    networks: Networks,
    progress: Callable[[float], None] = lambda time_s: None,
) -> Estimate:
    """The server's joints in every frame.

    Parameters
    ----------
    source : callable
        Each call yields the frames of the film from the start.
    networks : Networks
    progress : callable
        Called with each finished frame's timestamp, seconds.

    Raises
    ------
    NoPerson
        If the survey sees nobody, or nobody can be followed.
    """
    finds, (width, height) = survey(source, networks)
    server = choose_server(finds, width, height)
    if server is None:
        raise NoPerson
    follower = Follower(networks, server)
    rows = []
    for frame in source():
        rows.append(_row(frame, follower, networks))
        progress(frame.time_s)
    if not any(np.isfinite(row.blaze).any() for row in rows):
        raise NoPerson
    track, cut_off = assemble(rows, server, networks, width, height)
    return Estimate(track, server, cut_off, follower.redetections)


@dataclass(frozen=True, slots=True)
class Row:
    """One frame before fusion; pixels of the picture."""

    time_s: float
    index: int
    blaze: FloatArray
    second: FloatArray
    world: FloatArray
    score: float


def _row(frame: Frame, follower: Follower, networks: Networks) -> Row:
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
