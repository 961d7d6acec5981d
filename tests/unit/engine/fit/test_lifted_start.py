"""Directions that the fit starts from, against those of the true body."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.skeleton import CANONICAL_BODY
from models.contract.vocabulary import Handedness
from models.training.rendered.bodies import simulated_track, true_motion, truth
from workers.engine.fit.lifted_start import lifted_directions
from workers.engine.fit.skeleton import FREE, VECTORS
from workers.engine.lift import Lifted, lift_track
from workers.learned import load

LEARNED = load().learned


def exact(clip: str) -> tuple[Lifted, np.ndarray]:
    """A lift that knows the true body, and the body: standing heights, about the hips."""
    motion = true_motion(clip)
    hips = CANONICAL_BODY.middle(motion.joints, "hip")
    relative = (motion.joints - hips[:, None]) / motion.stature_m
    rows = np.arange(len(motion))
    spread, root = np.full(relative.shape, 0.01), np.zeros((len(rows), 3))
    lifted = Lifted(rows, motion.time_s, relative, spread, root, 0.0, 0.05, False)
    return lifted, relative


def test_every_segment_has_its_true_direction() -> None:
    lifted, joints = exact("000")
    found = lifted_directions(lifted, lifted.rows[::3])
    assert found is not None
    assert set(found) == {"trunk", *VECTORS[FREE:]}
    for name, (a, b) in {
        "front_thigh": ("front_hip", "front_knee"),
        "hitting_forearm": ("hitting_elbow", "hitting_wrist"),
        "pelvis": ("rear_hip", "front_hip"),
        "rear_toe": ("rear_ankle", "rear_toe"),
    }.items():
        way = CANONICAL_BODY.at(joints[::3], b) - CANONICAL_BODY.at(joints[::3], a)
        cosine = np.sum(found[name] * way, axis=-1) / np.linalg.norm(way, axis=-1)
        assert cosine == pytest.approx(1.0, abs=1e-9), name


def test_rows_the_lift_does_not_know_give_nothing() -> None:
    lifted, _ = exact("000")
    assert lifted_directions(lifted, np.array([3, len(lifted.rows)])) is None


def test_a_lifted_film_gives_unit_directions() -> None:
    track = simulated_track("002")
    lifted = lift_track(
        track, (0, len(track)), Handedness(truth("002")["handedness"]), LEARNED.lift
    )
    assert lifted is not None
    found = lifted_directions(lifted, lifted.rows)
    assert found is not None
    for way in found.values():
        assert np.linalg.norm(way, axis=-1) == pytest.approx(1.0)
