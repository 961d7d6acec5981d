"""Ground truth of a clip: events, joints, projections and metrics, laid out as `serveclips-
truth-1`.

The layout is documented in README.md of this folder.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from . import truth_formulas as formulas
from .camera import Camera
from .performance import Performance, Repetition
from .pose import Body, racket_points
from .rotation import Array
from .truth_measures import FORMULAS, measures

JOINTS = (
    *(
        "nose",
        "left_eye",
        "right_eye",
        "left_ear",
        "right_ear",
        "left_shoulder",
        "right_shoulder",
        "left_elbow",
    ),
    *(
        "right_elbow",
        "left_wrist",
        "right_wrist",
        "left_hip",
        "right_hip",
        "left_knee",
        "right_knee",
        "left_ankle",
    ),
    *("right_ankle", "left_heel", "right_heel", "left_toe", "right_toe", "mid_hip", "neck"),
)
NOTE = (
    "joints3d/2d: joint centres of the skeleton (shoulder, elbow, wrist, hip, knee, ankle), "
    "face/heel/toe points on the skin. coco17_surface2d: the same COCO-17 names regressed from the "
    "skin; null where no skin was made."
)
#: step of the dense search for events, seconds
_STEP = 0.0005


def point_of(body: Body, joint: str) -> Array:
    """Position of a named joint of the truth on an unmirrored (right-handed) body."""
    if "_" in joint and joint.split("_")[0] in ("left", "right"):
        side, name = joint.split("_", 1)
        return body.points[f"{side[0].upper()}_{name}"]
    return body.points[joint]


def swap(joint: str) -> str:
    """The joint of the other side."""
    if joint.startswith("left_"):
        return "right_" + joint[5:]
    return "left_" + joint[6:] if joint.startswith("right_") else joint


def mirror(x: Array) -> Array:
    """Mirror positions (..., 3) in y."""
    return np.asarray(x * np.array([1.0, -1.0, 1.0]))


def joints_of(performance: Performance, body: Body) -> Array:
    """Joints (T, 23, 3) as filmed: mirrored and with sides swapped for a left-hander."""
    if performance.left_handed:
        return mirror(np.stack([point_of(body, swap(j)) for j in JOINTS], axis=1))
    return np.stack([point_of(body, j) for j in JOINTS], axis=1)


def event_times(performance: Performance, repetition: Repetition) -> dict[str, float]:
    """Exact event times of one repetition, from a dense sampling of the continuous motion."""
    knots, motion = repetition.knots, performance.motion
    events = {"start": knots["set_up"]}
    if repetition.kind == "serve":
        events["release"] = knots["release"]
    late = knots.get("low", knots.get("hold_end", knots["load"]))
    t = np.arange(knots["release"], min(knots["load"] + 0.25, late), _STEP)
    body = motion.body(t)
    events["lowest_pelvis"] = float(t[np.argmin(body.points["mid_hip"][:, 2])])
    knee = _mean_knee(body)
    events["trophy"] = float(t[np.argmax(knee)])
    if repetition.kind == "hold":
        events |= {"lowest_pelvis": knots["load"], "trophy": knots["load"]}
        events |= {
            "hold_start": knots["load"],
            "hold_end": knots["hold_end"],
            "finish": knots["end"],
        }
        return events
    t = np.arange(knots["load"], knots["contact"], _STEP)
    tip = racket_points(motion.skeleton, motion.body(t))[:, 2, 2]
    # The tip is also low early in the backswing; search the drive only, after its first high point.
    top = int(np.argmax(tip[: len(tip) // 2]))
    events["racket_low"] = float(t[top + int(np.argmin(tip[top:]))])
    events |= {"contact": knots["contact"], "finish": knots["finish"]}
    return events


def _mean_knee(body: Body) -> Array:
    p = body.points
    front = formulas.flexion(p["L_hip"], p["L_knee"], p["L_ankle"])
    return 0.5 * (front + formulas.flexion(p["R_hip"], p["R_knee"], p["R_ankle"]))


def serve_block(
    performance: Performance, events: dict[str, float], ball_top: float | None
) -> dict[str, float]:
    """Metrics of the repetition as a whole."""
    motion = performance.motion
    height = motion.skeleton.height
    contact = motion.body(np.array([events["contact"]]))
    spot = racket_points(motion.skeleton, contact)[0, 1]
    release = motion.body(np.array([events.get("release", events["start"])]))
    knee = [
        float(
            formulas.flexion(
                *(
                    motion.body(np.array([events[e]])).points[f"L_{j}"]
                    for j in ("hip", "knee", "ankle")
                )
            )[0]
        )
        for e in ("trophy", "contact")
    ]
    out = {
        "contact_height_m": float(spot[2]),
        "contact_height_ratio": float(spot[2]) / height,
        "contact_wrist_height_ratio": float(contact.points["R_wrist"][0, 2]) / height,
        "contact_ahead_m": float(spot[0] - release.points["L_toe"][0, 0]),
        "trophy_to_contact_s": events["contact"] - events["trophy"],
        "knee_extension_deg": knee[0] - knee[1],
    }
    if "release" in events:
        hand = float(release.points["L_hand"][0, 2])
        out |= {"release_hand_height_m": hand, "release_hand_height_ratio": hand / height}
        out["release_to_contact_s"] = events["contact"] - events["release"]
    if ball_top is not None:
        out["toss_apex_m"] = ball_top
    return out


def _rounded(value: Any, digits: int = 4) -> Any:
    if isinstance(value, dict):
        return {k: _rounded(v, digits) for k, v in value.items()}
    return round(float(value), digits)


def _even(times: Array, rate: float) -> bool:
    """Whether frame i is centred at i / rate."""
    return bool(np.allclose(times, np.arange(len(times)) / rate, atol=1e-9))


def frame_index(t: float, times: Array, rate: float) -> float:
    """Position of an instant between the frames, in frames."""
    return t * rate if _even(times, rate) else float(np.interp(t, times, np.arange(len(times))))


def repetition_truth(
    performance: Performance, repetition: Repetition, times: Array, rate: float
) -> dict[str, Any]:
    """Events and metrics of one repetition."""
    motion = performance.motion
    gender = motion.skeleton.gender
    events = event_times(performance, repetition)
    order = {"start", "hold_start", "hold_end"}
    at_events = {}
    for name, t in events.items():
        if name not in order:
            values = formulas.posture_metrics(motion.body(np.array([t])).points, gender)
            at_events[name] = {k: round(float(v[0]), 4) for k, v in values.items()}
    if repetition.kind != "hold":
        top: float | None = None
        if repetition.kind == "serve":
            flight = np.arange(events["release"], events["contact"], _STEP)
            top = max(float(b[0][2]) for b in performance.ball_at(flight) if b is not None)
        at_events["serve"] = _rounded(serve_block(performance, events, top))
    frames = {k: frame_index(v, times, rate) for k, v in events.items()}
    return {
        "kind": repetition.kind,
        "event_times_s": _rounded(events, 5),
        "event_frames": {k: round(v) for k, v in frames.items()},
        "event_frames_float": {k: round(v, 3) for k, v in frames.items()},
        "metrics": at_events,
        "measures": _rounded(measures(performance, repetition, events)),
    }


def clip_truth(
    performance: Performance, camera: Camera, times: Array, rate: float
) -> dict[str, Any]:
    """The whole truth of a clip whose frames are centred at `times` seconds."""
    motion, left = performance.motion, performance.left_handed
    body = motion.body(times)
    joints = joints_of(performance, body)
    pixels = camera.project(joints)
    inside = (pixels >= 0).all(-1) & (pixels < [camera.width, camera.height]).all(-1)
    repetitions = [repetition_truth(performance, r, times, rate) for r in performance.repetitions]
    serves = [r for r in repetitions if r["kind"] == "serve"]
    racket: dict[str, Any] = {"points": ["butt", "sweet_spot", "tip"], "xyz": None, "uv": None}
    if performance.racket:
        xyz = racket_points(motion.skeleton, body)
        xyz = mirror(xyz) if left else xyz
        racket |= {
            "xyz": np.round(xyz, 4).tolist(),
            "uv": np.round(camera.project(xyz), 2).tolist(),
        }
    knobs = performance.knobs
    return {
        "format": "serveclips-truth-1",
        "fps": rate,
        "n_frames": len(times),
        "width": camera.width,
        "height": camera.height,
        "frame_time": "frame i is centred at i / fps seconds, or at frame_times_s[i] if given",
        "frame_times_s": None if _even(times, rate) else np.round(times, 6).tolist(),
        "handedness": "left" if left else "right",
        "is_serve": bool(serves),
        "n_serves": len(serves),
        "body_height_m": round(motion.skeleton.height, 4),
        "gender": motion.skeleton.gender,
        "phenotype": motion.skeleton.phenotype,
        "params": {
            k: v if isinstance(v, (str, int, type(None))) else round(v, 4)
            for k, v in vars(knobs).items()
        }
        if knobs
        else {},
        "camera": camera.describe(),
        "camera_jitter_px": None if camera.jitter is None else np.round(camera.jitter, 3).tolist(),
        "serves": serves,
        "other_repetitions": [r for r in repetitions if r["kind"] != "serve"],
        "joint_names": list(JOINTS),
        "joints3d": np.round(joints, 4).tolist(),
        "joints2d": np.round(pixels, 2).tolist(),
        "in_frame": inside.astype(int).tolist(),
        "coco17_surface2d": None,
        "joints_note": NOTE,
        "racket": racket,
        "ball": _ball(performance, camera, times),
        "frame_metrics": {
            k: np.round(v, 3).tolist()
            for k, v in formulas.posture_metrics(body.points, motion.skeleton.gender).items()
        },
        "formulas": FORMULAS,
        "notes": performance.notes,
        "negative": performance.negative,
        "view": camera.describe()["view"],
    }


def _ball(performance: Performance, camera: Camera, times: Array) -> list[dict[str, Any] | None]:
    out: list[dict[str, Any] | None] = []
    for i, seen in enumerate(performance.ball_at(times)):
        if seen is None:
            out.append(None)
            continue
        xyz = mirror(seen[0]) if performance.left_handed else seen[0]
        uv = None
        if camera.to_camera(xyz)[2] > 0.2:
            shift = camera.jitter[i] if camera.jitter is not None else 0.0
            uv = np.round(camera.pixels(xyz) + shift, 2).tolist()
        out.append({"xyz": np.round(xyz, 4).tolist(), "uv": uv, "state": seen[1]})
    return out
