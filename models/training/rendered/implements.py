"""Ball and racket of a performance: a ball held, tossed by gravity, struck or thrown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .pose import Body
from .rotation import Array
from .skeleton import Skeleton

GRAVITY = 9.81
BALL_RADIUS = 0.033
#: where the struck ball bounces: the service box across the net (x from the baseline, metres)
SERVICE_BOX_X, SERVE_SPEED = 17.8, 46.0


def held_ball(s: Skeleton, body: Body, side: str) -> Array:
    """Centre of a ball lying in the fingers of one hand, (T, 3)."""
    frame = body.frames[f"{side}_hand"]
    along, palm = -frame[..., 2], frame[..., 0]
    return body.points[f"{side}_hand"] + (0.45 * s.hand) * along + 0.030 * palm


@dataclass(frozen=True)
class Flight:
    """Free flight from `start` (3,) at `t0` until `t1`, without drag."""

    t0: float
    t1: float
    start: Array
    velocity: Array
    state: str

    def at(self, t: float) -> Array:
        """Ball centre at time t."""
        dt = t - self.t0
        return np.asarray(
            self.start + self.velocity * dt - np.array([0.0, 0.0, 0.5 * GRAVITY * dt * dt])
        )


@dataclass(frozen=True)
class Held:
    """Ball in a hand (`side`) from t0 until t1."""

    t0: float
    t1: float
    side: str


def toss(t0: float, start: Array, t1: float, end: Array) -> Flight:
    """The flight that leaves `start` at t0 and is at `end` at t1."""
    dt = t1 - t0
    velocity = (end - start) / dt + np.array([0.0, 0.0, 0.5 * GRAVITY * dt])
    return Flight(t0, t1, start, velocity, "toss")


def struck(t0: float, start: Array) -> Flight:
    """A served ball towards the service box, until it bounces."""
    target = np.array([SERVICE_BOX_X, 2.2, BALL_RADIUS])
    dt = float(np.linalg.norm(target - start)) / SERVE_SPEED
    velocity = (target - start) / dt + np.array([0.0, 0.0, 0.5 * GRAVITY * dt])
    return Flight(t0, t0 + dt, start, velocity, "flight")


def launched(t0: float, start: Array, speed: float, elevation: float, side: float = 6.0) -> Flight:
    """A thrown ball; `elevation` over the horizontal in degrees. Ends when it reaches the floor."""
    e, a = np.radians(elevation), np.radians(side)
    velocity = speed * np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    fall = (
        velocity[2] + np.sqrt(velocity[2] ** 2 + 2 * GRAVITY * (start[2] - BALL_RADIUS))
    ) / GRAVITY
    return Flight(t0, t0 + float(fall), start, velocity, "flight")
