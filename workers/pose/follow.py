"""Keeps a crop on one person from frame to frame.

The crop of a frame comes from the circle around the body that BlazePose sees in the frame before,
turned with the body, so that a bent-over follow-through stays upright in the crop. When the network
no longer believes in its crop, or it has drifted from the person the survey saw, the finder is
asked again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.contract.skeleton import LANDMARKS
from workers.pose.choice import Networks
from workers.pose.crop import SquareCrop, ahead, around_body, around_circle
from workers.pose.finder import Person, find_people
from workers.pose.frames import Picture
from workers.pose.networks import SIDE, BlazePoseAnswer, blazepose
from workers.pose.track import ServerChoice

BODY_FACTOR = 1.16
"""Side of the BlazePose crop in diameters of the body circle.

Tried 1.0 to 1.35 on rendered serves: tighter cuts hands off, wider costs resolution.
"""

LONGEST_STEP = 1.5
"""The crop's motion is continued over at most so many of its last time steps."""

SEED_FACTOR = 1.15
"""Side of the first crop in diameters of the circle around the finder's joints."""

LOST = 0.5
"""The person is lost when BlazePose is less sure than this."""

DRIFT = 0.75
"""... or when its hips lie so many torso lengths from where the survey saw the server."""

LEFT_ALONE_S = 0.5
"""After a longer gap between frames the crop starts anew."""

SEED_AGE_S = 0.3
"""A find of the survey may start a crop if it is not farther away in time."""


@dataclass
class Follower:
    """Keeps the crop on one person from frame to frame."""

    networks: Networks
    server: ServerChoice
    redetections: int = 0
    _past: list[tuple[float, SquareCrop]] = field(default_factory=list)

    def step(self, time_s: float, picture: Picture) -> tuple[SquareCrop, BlazePoseAnswer] | None:
        """The server in this frame, or None if lost even after asking the finder."""
        if self._past and time_s - self._past[-1][0] > LEFT_ALONE_S:
            self._past.clear()
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
    """SquareCrop for the next look, from the body circle seen in this one."""
    centre, rim = crop.to_picture(answer.circle, SIDE)
    return around_circle(centre, rim, BODY_FACTOR)
