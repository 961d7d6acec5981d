"""A whole serve as C2 curves of posture channels, with the knobs solved into the key postures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .key_postures import solved_postures
from .knobs import ServeKnobs
from .pose import CHANNELS, Body, pose
from .rotation import Array
from .serve_postures import Posture
from .skeleton import Skeleton
from .smooth_curve import SmoothCurve

ARM_CHANNELS = frozenset(
    {f"{side}_{n}" for side in "ht" for n in ("el", "az", "rot", "flex", "wrist")}
    | {"r_tilt", "r_around"}
)
Shifts = dict[tuple[str, str], float]
#: how far the turning of each part towards the net is moved in time at the low racket, per unit
#: of gap
_SEQUENCE = {
    "p_turn": -1.6,
    "p_roll": -1.2,
    "t_turn": -0.6,
    "t_roll": -0.4,
    "h_el": 0.2,
    "h_az": 0.2,
}
_SEQUENCE |= {"h_rot": 1.0, "h_flex": 1.0, "r_tilt": 1.0, "r_around": 1.0}
#: channels at rest at loading: feet that kept rising there would shift the deepest bend of the
#: knees
_STILL = frozenset({f"{side}_{n}" for side in "FR" for n in ("x", "y", "z", "heel")} | {"p_roll"})


@dataclass(frozen=True)
class Motion:
    """Posture channels over time.

    `knots` maps the name of each key posture to its time; `curves` the channels to their curves.
    """

    skeleton: Skeleton
    knots: dict[str, float]
    curves: dict[str, SmoothCurve]
    sway: float = 0.0
    sway_seed: int = 0

    def channels(self, t: Array) -> dict[str, Array]:
        """Channel values at times (T,), with the unrest of a standing body (`sway`, metres)."""
        values = {name: self.curves[name](t) for name in CHANNELS}
        if self.sway:
            rng = np.random.default_rng(self.sway_seed)
            for name, scale in (
                ("px", 1.0),
                ("py", 1.0),
                ("t_pitch", 150.0),
                ("t_turn", 150.0),
                ("h_turn", 400.0),
            ):
                for rate in (0.23, 0.51, 1.1):
                    wave = np.sin(
                        2 * np.pi * rate * t * rng.uniform(0.8, 1.25) + rng.uniform(0, 6.28)
                    )
                    values[name] = values[name] + self.sway * scale * wave * 0.4
        return values

    def body(self, t: Array) -> Body:
        """Posed body at times (T,)."""
        return pose(self.skeleton, self.channels(np.atleast_1d(t)))


def knot_times(k: ServeKnobs, start: float) -> dict[str, float]:
    """Times of the key postures; `start` is the end of the set-up stillness."""
    release = start + 0.92 * k.tempo
    load = release + 0.50 * k.tempo
    contact = load + k.drive
    return {
        "set_up": start,
        "mid": start + 0.45 * k.tempo,
        "release": release,
        "rise": release + 0.55 * (load - release),
        "load": load,
        "low": contact - k.whip,
        "contact": contact,
        "follow": contact + 0.09,
        "land": contact + 0.21,
        "finish": contact + 0.42,
        "end": contact + 1.15,
    }


def make_curves(
    knots: dict[str, float], postures: dict[str, Posture], shifts: Shifts | None = None
) -> dict[str, SmoothCurve]:
    """Curves through the postures; `shifts` move a channel's knot in time: (posture, channel) ->
    seconds.
    """
    curves: dict[str, SmoothCurve] = {}
    order = sorted(postures, key=lambda n: knots[n])
    shifts = shifts or {}
    for channel in CHANNELS:
        used = [n for n in order if channel in postures[n]]
        times = np.array([knots[n] + shifts.get((n, channel), 0.0) for n in used])
        still = [i for i, n in enumerate(used) if channel in _STILL and n.split(":")[-1] == "load"]
        curves[channel] = SmoothCurve(times, np.array([postures[n][channel] for n in used]), still)
    return curves


def serve_postures(
    s: Skeleton, k: ServeKnobs, start: float, front_x: float = -0.14, front_y: float = -0.8
) -> tuple[dict[str, float], dict[str, Posture], Shifts]:
    """Knot times, solved key postures, and shifts in time of single channels at key postures."""
    k, postures = solved_postures(s, k, front_x, front_y)
    knots = knot_times(k, start)
    limit = 0.4 * (knots["load"] - knots["rise"])
    lag = float(np.clip(k.arm_lag, -limit, 0.3 * (knots["low"] - knots["load"])))
    gap = float(np.clip(k.sequence_gap, -0.15 * k.drive, 0.25 * k.whip))
    shifts: Shifts = {("load", c): lag for c in ARM_CHANNELS}
    shifts |= {("low", c): weight * gap for c, weight in _SEQUENCE.items()}
    return knots, postures, shifts


def serve_motion(s: Skeleton, k: ServeKnobs, start: float) -> Motion:
    """One serve that leaves its set-up posture at `start` seconds."""
    knots, postures, shifts = serve_postures(s, k, start)
    return Motion(s, knots, make_curves(knots, postures, shifts))
