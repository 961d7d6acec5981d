"""Turns the knobs of a serve into exact metrics of its key postures."""

from __future__ import annotations

import numpy as np

from .body_measures import (
    balance_offset,
    lean,
    mean_knee,
    metric,
    racket_lean,
    racket_side,
    side_lean,
    straighter_knee,
)
from .knobs import ServeKnobs
from .pose import CHANNELS, Body, pose
from .posture_solver import Measure, solve_posture
from .serve_postures import Posture, base_postures, shape_noise
from .skeleton import Skeleton

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
_TIGHT = {"degree": 0.004, "share": 0.0002, "metre": 0.0002}


def solve_key_postures(s: Skeleton, k: ServeKnobs, postures: dict[str, Posture]) -> None:
    """Turn the knobs into exact metrics of the key postures (in place)."""
    g, degree, share = s.gender, _TIGHT["degree"], _TIGHT["share"]

    def solve(
        name: str, free: tuple[str, ...], targets: list[tuple[Measure, float, float]]
    ) -> None:
        postures[name] = solve_posture(s, postures[name], {c: _FREE[c] for c in free}, targets)

    def standing(name: str, rear: float, knee: float, forward: float = -0.035) -> None:
        # A leg at full reach draws its foot off the floor and hides the bend from the solver, so
        # the straighter knee is given and the search starts from a lower pelvis.
        postures[name]["pz"] -= 0.04
        solve(
            name,
            ("px", "py", "pz"),
            [
                (metric("rear_load_share", g), rear, 0.01),
                (balance_offset(g), forward, 0.005),
                (straighter_knee(g), max(10.0, knee - 3.0), 0.3),
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
            (lean, -k.trophy_lean, degree),
            (side_lean, k.trophy_arch, 2.0),
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
    bend = mean_knee(g)
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
                (lean, k.contact_lean, degree),
                (side_lean, k.contact_side, degree),
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
            (racket_lean, 10.0, 2.0),
            (racket_side, 6.0, 2.0),
        ],
    )


def _solved(s: Skeleton, k: ServeKnobs, front_x: float, front_y: float) -> dict[str, Posture]:
    """Key postures with the knobs solved in, contact height as it comes."""
    postures = base_postures(s, k, front_x, front_y)
    kept = {
        n: {c: postures[n][c] for c in ("p_turn", "t_turn", "t_roll", "h_flex")}
        for n in ("load", "contact")
    }
    shape_noise(k, postures)
    for name, values in kept.items():
        postures[name] |= values
    solve_key_postures(s, k, postures)
    # `mid` steers the arms; the pelvis height runs free between its own knots
    postures["mid"].pop("pz")
    return postures


def solved_postures(
    s: Skeleton, k: ServeKnobs, front_x: float, front_y: float
) -> tuple[ServeKnobs, dict[str, Posture]]:
    """Key postures; a wanted contact height is met by the height of the jump."""
    postures = _solved(s, k, front_x, front_y)
    for _ in range(3 if k.contact_height is not None else 0):
        wrist = float(_single(s, postures["contact"]).points["R_wrist"][0, 2])
        k = k.changed(jump=k.jump + (k.contact_height or 0.0) * s.height - wrist)
        postures = _solved(s, k, front_x, front_y)
    return k, postures
