"""Angles of the lifted bodies against the truth, near the trophy position and contact."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from workers.engine.geometry import flexion
from workers.engine.lift import features

from .films import Filmed
from .scene import JOINTS, Array, pose_of

Run = Callable[[Array], Array]


def _angles(pose: Array) -> dict[str, Array]:
    """Some angles of postures (T, 21, 3), degrees."""

    def at(name: str) -> Array:
        return CANONICAL_BODY.at(pose, name)

    across = at("tossing_shoulder") - at("hitting_shoulder")
    pelvis = at("front_hip") - at("rear_hip")
    trunk = at("tossing_shoulder") + at("hitting_shoulder") - at("front_hip") - at("rear_hip")
    level = np.hypot(across[:, 0], across[:, 1])

    def bend(*names: str) -> Array:
        return np.asarray(flexion(*(at(name) for name in names)))

    return {
        "front knee": bend("front_hip", "front_knee", "front_ankle"),
        "rear knee": bend("rear_hip", "rear_knee", "rear_ankle"),
        "elbow": bend("hitting_shoulder", "hitting_elbow", "hitting_wrist"),
        "shoulder tilt": np.degrees(np.arctan2(across[:, 2], level)),
        "trunk": np.degrees(np.arctan2(np.hypot(trunk[:, 0], trunk[:, 1]), trunk[:, 2])),
        "pelvis turn": np.degrees(np.arctan2(pelvis[:, 1], pelvis[:, 0])),
        "shoulder turn": np.degrees(np.arctan2(across[:, 1], across[:, 0])),
    }


def judge_lines(films: Sequence[Filmed], run: Run) -> list[str]:
    """One line an angle and instant: mean error, mean absolute error, over films."""
    found: dict[str, list[float]] = defaultdict(list)
    for film in films:
        read, place = features(film.time_s, film.plane, film.world)
        pose = run(read)[:, : 3 * JOINTS].reshape(-1, JOINTS, 3)
        pose[..., [0, 2]] += place
        ours = _angles(pose)
        true = _angles(pose_of(film.ideal, film.stature_m).reshape(-1, JOINTS, 3))
        for moment, when in (("trophy", film.trophy_s), ("contact", film.contact_s)):
            row = int(np.argmin(np.abs(film.time_s - when)))
            for name in ours:
                away = float(ours[name][row] - true[name][row] + 180.0) % 360.0 - 180.0
                found[f"{name} at {moment}"].append(away)
    return [
        f"{name:26s} bias {np.mean(away):6.1f}  mae {np.mean(np.abs(away)):5.1f}  n {len(away)}"
        for name, away in sorted(found.items())
    ]
