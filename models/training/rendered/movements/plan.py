"""When and on which feet a movement happens: tempo, toss, stance, jump, steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.training.rendered.implements import GRAVITY
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton

from .ranges import STATIONS

#: rate of the grid on which movements are planned, per second
RATE = 60.0
#: seconds planned before zero and after the end, so that derivatives exist at both
MARGIN = 0.15


@dataclass(frozen=True)
class Stance:
    """Balls of the feet (x, y) at set-up, and what they do; metres, seconds, degrees.

    `slide` moves the rear foot along the floor to `rear_up` (pinpoint) from `slide_from` to
    `slide_to`; `flight` is how long the front foot is in the air about contact (0 = never), `land`
    and `aside` where it comes down; `rear_off` when the rear foot leaves the floor (None = never),
    `rear_to` where it stands at the end and `kick` how high it swings.
    """

    kind: str
    front: Array
    rear: Array
    front_yaw: float
    rear_yaw: float
    rear_up: Array | None
    slide_from: float
    slide_to: float
    take_off: float
    flight: float
    land: float
    aside: float
    rear_off: float | None
    rear_to: Array
    rear_on: float
    kick: float

    @property
    def lift(self) -> float:
        """Height of the flight over the floor, metres: ballistic, g T^2 / 8."""
        return GRAVITY * self.flight**2 / 8.0


@dataclass(frozen=True)
class Plan:
    """Times of the stations in seconds, the stance and the grid of the movement."""

    kind: str
    times: dict[str, float]
    stance: Stance
    grid: Array
    duration: float

    @property
    def stations(self) -> Array:
        """Times of `ranges.STATIONS`, (7,)."""
        return np.array([self.times[s] for s in STATIONS])


def draw_plan(s: Skeleton, rng: np.random.Generator, kind: str) -> Plan:
    """Tempo and stance of a serve, shadow, throw or hold, each drawn over a wide range."""
    slow = float(rng.uniform(1.6, 3.2)) if kind == "shadow" else 1.0
    calm = float(rng.uniform(1.0, 1.7)) if kind == "shadow" else 1.0
    start = float(rng.uniform(0.3, 0.8))
    release = start + calm * float(rng.uniform(0.5, 1.35))
    flight = float(rng.uniform(0.52, 1.3))  # of the ball: low to high toss
    drive = float(rng.uniform(0.26, min(0.62, flight - 0.12)))
    whip = float(rng.uniform(0.08, min(0.2, 0.5 * drive)))
    times = {"start": start, "release": release}
    times["load"] = release + calm * (flight - drive)
    if kind == "hold":
        times["load"] = release + float(rng.uniform(0.4, 1.2))
        times["hold_end"] = times["load"] + float(rng.uniform(1.5, 4.0))
        times |= {"low": times["hold_end"], "contact": times["hold_end"] + 0.5}
        times["finish"] = times["end"] = times["hold_end"] + float(rng.uniform(0.9, 1.5))
        times["finish"] -= 0.2
    else:
        times["contact"] = times["load"] + slow * drive
        times["low"] = times["contact"] - slow * whip
        times["finish"] = times["contact"] + slow**0.5 * float(rng.uniform(0.34, 0.6))
        times["end"] = times["finish"] + float(rng.uniform(0.6, 1.0))
    stance = _stance(s, rng, kind, times, slow)
    duration = times["end"] + 0.25
    grid = np.arange(-MARGIN, duration + MARGIN, 1.0 / RATE)
    return Plan(kind, times, stance, grid, duration)


def _stance(
    s: Skeleton, rng: np.random.Generator, kind: str, times: dict[str, float], slow: float
) -> Stance:
    scale = s.leg / 0.86  # of a leg of about 0.86 m (de Leva's male)
    style = str(rng.choice(["platform", "foot_back", "pinpoint"], p=[0.35, 0.25, 0.4]))
    apart = {"platform": (0.30, 0.48), "foot_back": (0.48, 0.72), "pinpoint": (0.34, 0.66)}[style]
    front_yaw = float(rng.uniform(22, 72))
    rear_yaw = float(np.clip(front_yaw + rng.uniform(8, 55), 50, 104))
    front = np.array([rng.uniform(-0.35, -0.06), rng.uniform(-1.3, -0.3)])
    gap, back = float(rng.uniform(*apart)) * scale, float(rng.uniform(-0.14, 0.20)) * scale
    rear = _beside(s, front, front_yaw, rear_yaw, gap, back)
    contact = times["contact"]
    up: Array | None = None
    begin = end = 0.0
    if style == "pinpoint":
        near = float(rng.uniform(0.13, 0.27)) * scale
        up = _beside(s, front, front_yaw, rear_yaw, near, float(rng.uniform(0.02, 0.16)) * scale)
        begin = times["release"] + float(rng.uniform(-0.12, 0.2)) * (
            times["load"] - times["release"]
        )
        end = begin + float(rng.uniform(0.65, 1.0)) * (times["load"] - begin)
    jumps = kind == "serve" and rng.random() < 0.6
    flight = float(rng.uniform(0.12, 0.40)) if jumps else 0.0
    take_off = contact - float(rng.uniform(0.15, 0.6)) * flight
    land = float(rng.uniform(0.05, 0.45)) * scale if jumps else 0.0
    steps = jumps or (kind != "hold" and rng.random() < 0.5)
    off = None
    if steps:
        if jumps:  # the rear foot leaves with the front foot or before it
            off = take_off - float(rng.uniform(0.0, 0.08))
        else:
            off = min(times["low"] + float(rng.uniform(-0.02, 0.10)), contact + 0.12 * slow)
    aside = float(rng.uniform(-0.08, 0.08))
    to = front + np.array([land + rng.uniform(-0.30, 0.15), aside - rng.uniform(0.20, 0.42)])
    return Stance(
        kind=style,
        front=front,
        rear=rear,
        front_yaw=front_yaw,
        rear_yaw=rear_yaw,
        rear_up=up,
        slide_from=begin,
        slide_to=end,
        take_off=take_off,
        flight=flight,
        land=land,
        aside=aside if jumps else 0.0,
        rear_off=off,
        rear_to=to,
        rear_on=times["end"] - float(rng.uniform(0.05, 0.25)),
        kick=float(rng.uniform(0.06, 0.42)),
    )


def _beside(
    s: Skeleton, front: Array, front_yaw: float, rear_yaw: float, gap: float, back: float
) -> Array:
    """Ball of the rear foot whose ankle lies `gap` behind and `back` (+y) of the front ankle."""
    reach = float(s.ball[0])

    def forward(yaw: float) -> Array:
        a = np.radians(yaw)
        return np.array([np.cos(a), -np.sin(a)])

    ankle = front - reach * forward(front_yaw)
    return np.asarray(ankle + np.array([-gap, back]) + reach * forward(rear_yaw))
