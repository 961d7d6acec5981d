"""What the lift learns is what the metrics measure, and what it reads is what the engine reads."""

from __future__ import annotations

from importlib.util import find_spec

import numpy as np
import pytest

from models.training.rendered.bodies import true_motion, truth
from workers.engine.heads import HEAD_FORMULAS, HeadSamples
from workers.engine.lift_input import RATE_HZ, SECOND, WIDTH, assemble, resample, still_frames
from workers.engine.lift_layout import HEADS
from workers.engine.metrics.registry import REGISTRY
from workers.engine.readings import floor_height
from workers.engine.samples import Samples
from workers.engine.truth import EVENTS

pytestmark = pytest.mark.skipif(find_spec("torch") is None, reason="the training extra is not here")

SPECS = {spec.name: spec for spec in REGISTRY}
SMALL = {"contact_height_ratio@contact", "toss_release_height@release", "rear_hip_drop@loading"}
"""Rest on the floor, which is found in another way where heels and toes are seen."""


def prepared(clip: str) -> tuple[Samples, HeadSamples]:
    import torch

    from models.training.lift.targets import heads_of

    motion = true_motion(clip)
    when = np.arange(motion.time_s[0], motion.time_s[-1], 1.0 / RATE_HZ)
    joints = resample(motion.time_s, motion.joints, when)
    still = still_frames(len(when))
    heads = heads_of(torch.from_numpy(joints / motion.stature_m)[None], still).numpy()
    times = truth(clip)["serves"][0]["event_times_s"]
    events = {EVENTS[key]: np.array([float(t)]) for key, t in times.items() if key in EVENTS and t}
    stature = np.array([motion.stature_m])
    body = Samples(when, joints[None], events, stature, floor_z=floor_height(motion))
    return body, HeadSamples(when, heads, events, stature)


@pytest.mark.parametrize("clip", ["000", "004"])
def test_the_answers_are_the_metrics(clip: str) -> None:
    body, heads = prepared(clip)
    held = 0
    for name, formula in HEAD_FORMULAS.items():
        spec = SPECS.get(name)
        if spec is None or not set(spec.events) <= set(body.events):
            continue
        true, told = float(spec.compute(body)[0]), float(formula(heads)[0])
        if not np.isfinite(true):
            continue
        loose = {"deg": 1.2, "deg/deg": 0.05}.get(spec.unit, 0.03 if name in SMALL else 0.02)
        if spec.event is None and spec.unit == "s":
            loose = 0.05  # of the moment at which a share is largest, or passes a level
        assert told == pytest.approx(true, abs=loose), name
        held += 1
    assert held > 30


def test_training_reads_what_the_engine_reads() -> None:
    import torch

    from models.training.lift.sight import features

    rng = np.random.default_rng(3)
    frames = 50
    still = still_frames(frames)
    place, space = rng.normal(size=(frames, 21, 2)), rng.normal(size=(frames, 21, 3))
    second, path = rng.normal(size=(frames, SECOND, 2)), rng.normal(size=(frames, 2))
    sure, second_sure = rng.uniform(size=(frames, 21)), rng.uniform(size=(frames, SECOND))
    told = rng.normal(size=3)
    one = assemble(place, second, sure, second_sure, space, path, 1.0, told, still)
    assert one.shape == (frames, WIDTH)
    parts = (place, second, sure, second_sure, space, path)
    tensors = [torch.from_numpy(part)[None] for part in parts]
    both = features(*tensors, torch.ones(1).double(), torch.from_numpy(told)[None])
    np.testing.assert_allclose(both[0].numpy(), one, atol=1e-12)


def test_positions_are_called_as_the_engine_calls_them() -> None:
    from models.training.lift.judge import position
    from workers.engine.view import view_of

    for azimuth in np.linspace(-30.0, 390.0, 211):
        assert position(float(azimuth)) == view_of(float(azimuth)).value


def test_told_columns_are_where_training_clears_them() -> None:
    from models.training.lift.sight import TOLD
    from workers.engine.lift_input import told_columns

    told = told_columns((0.4, 0.05))
    zeros = [np.zeros((9, 21, 2)), np.zeros((9, SECOND, 2)), np.zeros((9, 21))]
    zeros += [np.zeros((9, SECOND)), np.zeros((9, 21, 3)), np.zeros((9, 2))]
    read = assemble(*zeros, 0.0, told, 9)
    np.testing.assert_array_equal(read[0, TOLD], told)
    assert np.count_nonzero(read[0]) == 3


def test_every_answer_has_a_name_and_a_unit() -> None:
    from workers.engine.lift_layout import HEAD_SCALE

    assert set(HEAD_SCALE) == set(HEADS)
