"""A whole serve as C2 curves of posture channels, with the knobs solved into the key postures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import truth_formulas as truth
from .knobs import ServeKnobs
from .pose import CHANNELS, Body, pose
from .posture_solver import Measure, solve_posture
from .rotation import Array
from .serve_postures import Posture, base_postures, shape_noise
from .skeleton import Skeleton
from .smooth_curve import SmoothCurve

#: pull of a free channel back to its base value: one standard deviation
_FREE = {
    "px": 0.3,
    "py": 0.3,
    "pz": 0.3,
    "p_roll": 6.0,
    "F_heel": 14.0,
    "R_heel": 14.0,
    "F_knee": 10.0,
}
_FREE |= {
    "R_x": 0.06,
    "R_z": 0.05,
    "R_knee": 10.0,
    "t_turn": 60.0,
    "t_roll": 60.0,
    "t_pitch": 60.0,
    "s_roll": 9.0,
    "s_pitch": 9.0,
}
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
_TIGHT = {"degree": 0.004, "share": 0.0002, "metre": 0.0002}


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
        """Channel values at times (T,), with the slow unrest of a standing body (`sway` in
        metres).
        """
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


def metric(name: str, gender: float) -> Measure:
    """A per-frame truth metric as a measure of a posed body."""
    return lambda body: truth.posture_metrics(body.points, gender)[name]


def _lean(body: Body) -> Array:
    return truth.lean_to_net(body.points["mid_hip"], truth.mid_shoulder(body.points))


def _side_lean(body: Body) -> Array:
    return truth.lean_to_left(body.points["mid_hip"], truth.mid_shoulder(body.points))


def balance_offset(gender: float) -> Measure:
    """Distance of the centre of mass to the left of the line rear ankle -> front ankle, metres."""

    def measure(body: Body) -> Array:
        p = body.points
        com = truth.centre_of_mass(truth.segment_ends(p), gender)
        line = (p["L_ankle"] - p["R_ankle"])[..., :2]
        line = line / np.linalg.norm(line, axis=-1, keepdims=True)
        off = (com - p["R_ankle"])[..., :2]
        return line[..., 0] * off[..., 1] - line[..., 1] * off[..., 0]

    return measure


def _mean_knee(gender: float) -> Measure:
    front, rear = metric("front_knee_flexion", gender), metric("rear_knee_flexion", gender)
    return lambda body: 0.5 * (front(body) + rear(body))


def straighter_knee(gender: float) -> Measure:
    """Flexion of the straighter knee, degrees."""
    front, rear = metric("front_knee_flexion", gender), metric("rear_knee_flexion", gender)
    return lambda body: np.minimum(front(body), rear(body))


def _racket_lean(body: Body) -> Array:
    axis = -body.frames["racket"][..., 2]
    return np.degrees(np.arctan2(axis[..., 0], axis[..., 2]))


def _racket_side(body: Body) -> Array:
    axis = -body.frames["racket"][..., 2]
    return np.degrees(np.arctan2(axis[..., 1], axis[..., 2]))


def solve_key_postures(s: Skeleton, k: ServeKnobs, postures: dict[str, Posture]) -> None:
    """Turn the knobs into exact metrics of the key postures (in place)."""
    g, degree, share = s.gender, _TIGHT["degree"], _TIGHT["share"]

    def solve(
        name: str, free: tuple[str, ...], targets: list[tuple[Measure, float, float]]
    ) -> None:
        postures[name] = solve_posture(s, postures[name], {c: _FREE[c] for c in free}, targets)

    def standing(name: str, rear: float, knee: float, forward: float = -0.035) -> None:
        solve(
            name,
            ("px", "py", "pz"),
            [
                (metric("rear_load_share", g), rear, 0.01),
                (balance_offset(g), forward, 0.005),
                (_mean_knee(g), knee, 0.3),
            ],
        )

    standing("set_up", k.setup_share, k.setup_knee)
    standing("end", 0.5, 10.0, 0.0)
    postures["mid"] |= {c: postures["set_up"][c] for c in ("px", "py", "pz")}
    standing("mid", 0.5 * (k.setup_share + 0.42), k.setup_knee + 2)
    standing(
        "release",
        0.6 * k.rear_share + 0.4 * 0.45,
        0.7 * k.setup_knee + 0.18 * (k.knee_front + k.knee_rear) / 2,
    )
    load = postures["load"]
    load["pz"] = s.ankle_height + s.leg * float(
        np.cos(np.radians((k.knee_front + k.knee_rear) / 4))
    )
    knee_line = metric("knee_turn", g)
    start = float(knee_line(_single(s, postures["set_up"]))[0])
    if k.foot_up:  # the knee line of feet side by side says nothing about the coil; keep it free
        knee_target: list[tuple[Measure, float, float]] = []
    else:
        knee_target = [(knee_line, start + k.knee_turn, degree)]
    legs = ("px", "py", "pz", "p_roll", "F_heel", "R_heel", "F_knee", "R_knee")
    solve(
        "load",
        (*legs, "t_turn", "t_roll", "t_pitch", "s_roll", "s_pitch"),
        [
            (metric("rear_load_share", g), k.rear_share, share),
            (balance_offset(g), -0.02, 0.02),
            (metric("front_knee_flexion", g), k.knee_front, degree),
            (metric("rear_knee_flexion", g), k.knee_rear, degree),
            (metric("shoulder_turn", g), k.pelvis_turn + k.separation, degree),
            (metric("shoulder_tilt", g), k.shoulder_tilt, degree),
            (_lean, -k.trophy_lean, degree),
            (_side_lean, k.trophy_arch, 2.0),
            *knee_target,
        ],
    )
    load = postures["load"]
    rise, before = postures["rise"], postures["release"]
    for c, weight in (
        ("px", 0.7),
        ("py", 0.7),
        ("p_roll", 0.8),
        ("s_roll", 0.8),
        ("s_pitch", 0.7),
        ("t_pitch", 0.8),
        ("F_heel", 0.4),
        ("R_heel", 0.5),
        ("F_knee", 0.7),
        ("R_knee", 0.7),
    ):
        rise[c] = before[c] + weight * (load[c] - before[c])
    if k.foot_up:
        for c in ("R_x", "R_y"):
            rise[c] = before[c] + 0.72 * (load[c] - before[c])
        rise["R_z"] = s.ball_height + 0.025
    bend = _mean_knee(g)
    earlier = float(bend(_single(s, before))[0])
    deepest = 0.5 * (k.knee_front + k.knee_rear)
    solve("rise", ("pz",), [(bend, earlier + 0.62 * (deepest - earlier), 0.5)])
    contact = postures["contact"]
    contact["pz"] = s.ankle_height + s.leg + k.jump
    front, rear = metric("front_knee_flexion", g), metric("rear_knee_flexion", g)
    for _ in range(3):  # the girdle follows the arm, so trunk and arm are solved in turn
        solve(
            "contact",
            ("pz", "p_roll", "t_turn", "t_roll", "t_pitch", "s_roll", "s_pitch"),
            [
                (front, k.knee_front_contact, degree),
                (metric("shoulder_turn", g), k.contact_shoulder, degree),
                (metric("shoulder_tilt", g), -k.contact_tilt, degree),
                (_lean, k.contact_lean, degree),
                (_side_lean, k.contact_side, degree),
            ],
        )
        _solve_reach(s, k, postures)
    low = postures["low"]
    for c in ("px", "py"):
        low[c] = load[c] + 0.45 * (postures["contact"][c] - load[c])
    low["pz"] = load["pz"] + 0.75 * (postures["contact"]["pz"] - load["pz"])
    solve(
        "low",
        ("pz", "p_roll", "R_heel", "R_x", "R_z"),
        [
            (front, 0.25 * k.knee_front + 8, 1.0),
            (rear, 0.22 * k.knee_rear + 10, 2.0),
        ],
    )
    for name, knee in (("follow", 20.0), ("land", 30.0), ("finish", 46.0)):
        solve(name, ("pz",), [(front, knee, 1.0)])


def _single(s: Skeleton, posture: Posture) -> Body:
    return pose(s, {c: np.array([float(posture.get(c, 0.0))]) for c in CHANNELS})


def _solve_reach(s: Skeleton, k: ServeKnobs, postures: dict[str, Posture]) -> None:
    """Arm elevation, rear knee and racket direction at contact, once the trunk stands."""
    rear = metric("rear_knee_flexion", s.gender)
    elevation = metric("shoulder_elevation", s.gender)
    free = {"h_el": 60.0, "R_z": 0.3, "R_x": 0.05, "r_tilt": 12.0, "r_around": 40.0}
    postures["contact"] = solve_posture(
        s,
        postures["contact"],
        free,
        [
            (elevation, k.reach, 0.004),
            (rear, k.knee_rear_contact, 0.004),
            (_racket_lean, 10.0, 2.0),
            (_racket_side, 6.0, 2.0),
        ],
    )


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
    postures = base_postures(s, k, front_x, front_y)
    kept = {
        n: {c: postures[n][c] for c in ("p_turn", "t_turn", "t_roll", "h_flex")}
        for n in ("load", "contact")
    }
    shape_noise(k, postures)
    for name, values in kept.items():
        postures[name] |= values
    solve_key_postures(s, k, postures)
    postures["mid"].pop(
        "pz"
    )  # it steers the arms; the pelvis height runs free between its own knots
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
