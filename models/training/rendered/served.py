"""A served ball of known speed: gravity, drag and spin, from the racket to the service box.

Integrated step by step, so that whoever measures it with a formula of his own shares no code.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .implements import BALL_RADIUS, GRAVITY, Flight, Held
from .performance import Performance
from .rotation import Array

MASS, AIR = 0.0577, 1.2
"""kg, rules of the game; kg/m³ at 20 degrees (from memory)."""
_STEP = 0.0005


@dataclass(frozen=True)
class ServedBall:
    """How a serve leaves the strings.

    Attributes
    ----------
    speed : float
        m/s, just after contact.
    bounce : tuple of float
        Where it is aimed, metres: x from the baseline, y from the centre line, left positive.
    spin : float
        Topspin, rad/s.
    drag : float
        Drag coefficient: 0.51 in flight (Sports Eng 2014, 17:89-96, doi
        10.1007/s12283-013-0144-9), 0.6 to 0.7 in wind tunnels (Sports Technol 2008, 1(1):7-16, doi
        10.1002/jst.11).
    """

    speed: float
    bounce: tuple[float, float] = (17.0, 2.2)
    spin: float = 150.0
    drag: float = 0.55


@dataclass(frozen=True)
class Served(Flight):
    """The flight of a served ball until it bounces."""

    way: ServedBall = ServedBall(46.0)

    @cached_property
    def table(self) -> Array:
        """Places at steps of half a millisecond, (N, 3)."""
        return flown(self.start, self.velocity, self.way)

    def at(self, t: float) -> Array:
        """Ball centre at time t."""
        steps = np.arange(len(self.table)) * _STEP
        return np.array([np.interp(t - self.t0, steps, axis) for axis in self.table.T])


def flown(start: Array, velocity: Array, way: ServedBall) -> Array:
    """Places of a ball from the strings until it is at the floor, (N, 3)."""
    area = np.pi * BALL_RADIUS**2
    push = 0.5 * AIR * area / MASS

    def acceleration(v: Array) -> Array:
        speed = float(np.linalg.norm(v))
        # lift by topspin: 1 / (2 + v / v_spin) (Am J Phys and Sports Eng by Cross; from memory)
        lift = 1.0 / (2.0 + speed / (BALL_RADIUS * way.spin)) if way.spin > 0.0 else 0.0
        ahead = v / speed
        down = np.cross(np.cross(ahead, [0.0, 0.0, -1.0]), ahead)
        pull = np.array([0.0, 0.0, -GRAVITY])
        return np.asarray(pull - push * way.drag * speed * v + push * lift * speed**2 * down)

    places, p, v = [start], start, velocity
    while p[2] > BALL_RADIUS and len(places) < 6000:
        half = v + 0.5 * _STEP * acceleration(v)
        p, v = p + _STEP * half, v + _STEP * acceleration(half)
        places.append(p)
    return np.array(places)


def serve(t0: float, start: Array, way: ServedBall) -> Served:
    """The flight that leaves `start` at t0 and bounces as far from the baseline as it is aimed."""
    aim = np.array([*way.bounce, BALL_RADIUS]) - start
    heading = np.arctan2(aim[1], aim[0])

    def leaving(elevation: float) -> Array:
        level = np.cos(elevation)
        ahead = [level * np.cos(heading), level * np.sin(heading), np.sin(elevation)]
        return way.speed * np.array(ahead)

    low, high = np.radians(-15.0), np.radians(25.0)
    for _ in range(24):
        middle = 0.5 * (low + high)
        short = flown(start, leaving(middle), way)[-1, 0] < way.bounce[0]
        low, high = (middle, high) if short else (low, middle)
    velocity = leaving(0.5 * (low + high))
    duration = (len(flown(start, velocity, way)) - 1) * _STEP
    return Served(t0, t0 + duration, start, velocity, "flight", way)


def with_served_ball(performance: Performance, way: ServedBall) -> Performance:
    """The performance with its struck ball leaving as stated."""
    ball: list[Held | Flight] = [
        serve(part.t0, part.start, way)
        if isinstance(part, Flight) and part.state == "flight"
        else part
        for part in performance.ball
    ]
    return replace(performance, ball=ball)
