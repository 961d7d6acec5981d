"""Truth of the product's serve metrics, by formulas of our own (`metric_formulas.json`
defines each).

Turns count from set-up here (positive = away from the net), as the product reports them; the
per-frame block keeps absolute turns. Everything is worked out on the unmirrored, right-handed body.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from . import truth_formulas as f
from .implements import Flight
from .performance import Performance, Repetition
from .pose import Body
from .rotation import Array

Values = dict[str, dict[str, float]]
#: spacing of the central differences for speeds and accelerations, seconds
_DT = 0.002

FORMULAS: dict[str, str] = json.loads(
    Path(__file__).with_name("metric_formulas.json").read_text(encoding="utf-8")
)


def _angle_speed(direction: Array, dt: float) -> Array:
    """Turning speed of a direction (T, 3), deg/s, at mid-steps."""
    return f.angle_between(direction[:-1], direction[1:]) / dt


def _acceleration(performance: Performance, t: float) -> tuple[Array, Array]:
    """Centre of mass (3,) and its acceleration by second differences over 2 h = 20 ms."""
    h = 0.010
    body = performance.motion.body(np.array([t - h, t, t + h]))
    com = f.centre_of_mass(f.segment_ends(body.points), performance.motion.skeleton.gender)
    return com[1], (com[0] - 2 * com[1] + com[2]) / h**2


def measures(performance: Performance, repetition: Repetition, events: dict[str, float]) -> Values:
    """The product's metrics: key -> event -> value."""
    motion = performance.motion
    s = motion.skeleton

    def at(event: str) -> Body:
        return motion.body(np.array([events[event]]))

    start, low, trophy = at("start"), at("lowest_pelvis"), at("trophy")
    posture = {
        n: _floats(b, s.gender) for n, b in (("start", start), ("loading", low), ("trophy", trophy))
    }
    com, acceleration = _acceleration(performance, events["lowest_pelvis"])
    p = low.points
    rear, front = p["R_ankle"][0], p["L_ankle"][0]
    mid_foot = [0.5 * (p[f"{side}_heel"] + p[f"{side}_toe"])[0] for side in "RL"]
    hip0, hip1 = start.points["R_hip"][0], p["R_hip"][0]
    first, loaded = posture["start"], posture["loading"]
    bend = 0.5 * sum(loaded[k] - first[k] for k in ("front_knee_flexion", "rear_knee_flexion"))
    out: Values = {
        "rear_foot_load_share": {
            "loading": float(f.rear_share(com, rear, front)),
            "dynamic": float(f.rear_share_dynamic(com, acceleration, rear, front)),
            "foot_centres": float(f.rear_share(com, mid_foot[0], mid_foot[1])),
        },
        "rear_hip_drop": {"loading": float(hip0[2] - hip1[2]) / s.leg},
        "rear_hip_setback": {"loading": float(hip0[0] - hip1[0]) / s.leg},
        "front_hip_advance": {"loading": float(p["L_hip"][0, 0] - front[0]) / s.leg},
        "turn_to_bend_ratio": {"loading": (loaded["pelvis_turn"] - first["pelvis_turn"]) / bend},
        "hip_shoulder_separation": {"trophy": posture["trophy"]["separation"]},
        "shoulder_line_tilt": {"trophy": posture["trophy"]["shoulder_tilt"]},
        "front_knee_flexion": {"trophy": posture["trophy"]["front_knee_flexion"]},
        "rear_knee_flexion": {"trophy": posture["trophy"]["rear_knee_flexion"]},
        "tossing_arm_elevation": {"trophy": _arm_elevation(trophy)},
    }
    for name, source in (
        ("trunk_inclination",) * 2,
        ("elbow_flexion", "hitting_elbow_flexion"),
        ("shoulder_elevation",) * 2,
    ):
        out[name] = {"trophy": posture["trophy"][source]}
    out["trunk_lean"] = {"trophy": _lean(trophy, f.lean_to_net)}
    out["trunk_lateral_tilt"] = {"trophy": _lean(trophy, f.lean_to_left)}
    last = events.get("contact", events.get("hold_end", events["finish"]))
    t = np.arange(events["start"], last, _DT)
    path = f.posture_metrics(motion.body(t).points, s.gender)
    for name in ("pelvis_turn", "shoulder_turn", "knee_turn"):
        turn = np.unwrap(path[name], period=360.0)
        out[name] = {
            "loading": loaded[name] - first[name],
            "peak": float(np.max(turn)) - float(turn[0]),
        }
    out |= _hold(performance, events) if repetition.kind == "hold" else {}
    if "contact" in events:
        _drive(performance, repetition, events, out)
    if "release" in events and "contact" in events:
        _loading(performance, events, out)
    return out


def _rear_share(performance: Performance, t: Array) -> Array:
    """Static share over the rear ankle at each of the times."""
    skeleton = performance.motion.skeleton
    p = performance.motion.body(t).points
    com = f.centre_of_mass(f.segment_ends(p), skeleton.gender)
    return f.rear_share(com, p["R_ankle"], p["L_ankle"])


def _time_loaded(share: Array) -> float:
    """Seconds with at least 60 % over the rear foot, of samples ``_DT`` apart."""
    return float(np.count_nonzero(share >= 0.6)) * _DT


def _hold(performance: Performance, events: dict[str, float]) -> Values:
    """Metrics of a static hold."""
    first, last = events["hold_start"], events["hold_end"]
    share = _rear_share(performance, np.arange(first, last, _DT))
    return {
        "hold_duration": {"whole": last - first},
        "hold_rear_foot_load_share": {"whole": float(np.mean(share))},
        "hold_rear_load_time_60": {"whole": _time_loaded(share)},
    }


def _loading(performance: Performance, events: dict[str, float], out: Values) -> None:
    """Metrics over the loading and the way to contact of a serve (adds to `out`)."""
    t = np.arange(events["release"], events["lowest_pelvis"], _DT)
    if t.size:  # else the pelvis is lowest before the release: neither is defined
        share = _rear_share(performance, t)
        out["rear_foot_load_share"]["peak"] = float(np.max(share))
        most = float(t[np.argmax(share)])
        out["most_loaded_before_contact"] = {"whole": events["contact"] - most}
    t = np.arange(events["start"], events["lowest_pelvis"] + 0.2, _DT)
    out["rear_load_time_60"] = {"whole": _time_loaded(_rear_share(performance, t))}
    body = performance.motion.body(np.arange(events["release"], events["contact"], _DT))
    separation = f.posture_metrics(body.points, performance.motion.skeleton.gender)["separation"]
    out["hip_shoulder_separation"]["peak"] = float(np.max(separation))


def _floats(body: Body, gender: float) -> dict[str, float]:
    return {k: float(v[0]) for k, v in f.posture_metrics(body.points, gender).items()}


def _lean(body: Body, how: Callable[[Array, Array], Array]) -> float:
    hips = 0.5 * (body.points["L_hip"] + body.points["R_hip"])
    return float(how(hips, f.mid_shoulder(body.points))[0])


def _arm_elevation(body: Body) -> float:
    d = (body.points["L_wrist"] - body.points["L_shoulder"])[0]
    return float(np.degrees(np.arctan2(d[2], np.hypot(d[0], d[1]))))


def _drive(
    performance: Performance, repetition: Repetition, events: dict[str, float], out: Values
) -> None:
    """Metrics that need the drive to contact (adds to `out`)."""
    motion = performance.motion
    s = motion.skeleton
    contact = motion.body(np.array([events["contact"]]))
    now = _floats(contact, s.gender)
    p = contact.points
    out["shoulder_line_tilt"]["contact"] = now["shoulder_tilt"]
    out["shoulder_over_shoulder"] = {
        "contact": out["shoulder_line_tilt"]["trophy"] - now["shoulder_tilt"]
    }
    out["trunk_inclination"]["contact"] = now["trunk_inclination"]
    out["trunk_lean"]["contact"] = _lean(contact, f.lean_to_net)
    out["trunk_lateral_tilt"]["contact"] = _lean(contact, f.lean_to_left)
    out["elbow_flexion"]["contact"] = now["hitting_elbow_flexion"]
    out["shoulder_elevation"]["contact"] = now["shoulder_elevation"]
    wrist = p["R_wrist"][0]
    set_up = motion.body(np.array([events["start"]])).points["L_ankle"][0]
    out["contact_height_ratio"] = {"contact": float(wrist[2]) / s.height}
    out["contact_forward"] = {
        "contact": float(wrist[0] - p["L_ankle"][0, 0]),
        "from_set_up": float(wrist[0] - set_up[0]),
    }
    t = np.arange(events["trophy"], events["contact"] + 0.5 * _DT, _DT)
    body = motion.body(t)
    path = f.posture_metrics(body.points, s.gender)
    out["knee_extension_speed"] = {
        side: float(np.max(-np.diff(path[f"{side}_knee_flexion"]))) / _DT
        for side in ("front", "rear")
    }
    up = np.diff(body.points["mid_hip"][:, 2]) / _DT
    out["leg_drive_speed"] = {"peak": float(np.max(up))}
    rates = {
        "pelvis": np.abs(np.diff(np.unwrap(path["pelvis_turn"], period=360.0))) / _DT,
        "trunk": np.abs(np.diff(np.unwrap(path["shoulder_turn"], period=360.0))) / _DT,
        "upper_arm": _angle_speed(body.points["R_elbow"] - body.points["R_shoulder"], _DT),
        "forearm": _angle_speed(body.points["R_wrist"] - body.points["R_elbow"], _DT),
    }
    middle = 0.5 * (t[:-1] + t[1:]) - events["contact"]
    out["sequence"] = {}
    for name, rate in rates.items():
        out["sequence"] |= {
            f"{name}_time_s": float(middle[np.argmax(rate)]),
            f"{name}_peak_deg_s": float(np.max(rate)),
        }
    order = [out["sequence"][f"{name}_time_s"] for name in rates]
    out["sequence"]["proximal_to_distal"] = float(order == sorted(order))
    around = np.arange(events["trophy"], events["contact"] + 0.05, _DT)
    speed = np.linalg.norm(np.diff(motion.body(around).points["R_wrist"], axis=0), axis=1) / _DT
    out["wrist_speed_peak"] = {"peak": float(np.max(speed))}
    out["tempo"] = {"trophy_to_contact": events["contact"] - events["trophy"]}
    if "release" in events:
        release = motion.body(np.array([events["release"]]))
        out["tempo"] |= {
            "set_up_to_release": events["release"] - events["start"],
            "release_to_trophy": events["trophy"] - events["release"],
        }
        out["toss_release_height"] = {"release": float(release.points["L_wrist"][0, 2]) / s.height}
        out["tossing_arm_elevation"]["release"] = _arm_elevation(release)
    speed_of_ball = _struck_speed(performance, events.get("contact"))
    if repetition.kind == "serve" and speed_of_ball is not None:
        out["ball_speed"] = {"contact": speed_of_ball}
    if repetition.kind == "throw":
        out["throw_elevation"] = {"contact": performance.notes["throw_elevation_deg"]}


def _struck_speed(performance: Performance, contact: float | None) -> float | None:
    """Speed with which the ball leaves the strings, m/s; None where none is struck."""
    for part in performance.ball:
        if isinstance(part, Flight) and part.state == "flight" and part.t0 == contact:
            return float(np.linalg.norm(part.velocity))
    return None
