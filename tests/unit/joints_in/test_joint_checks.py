"""Joints from elsewhere that are not what they should be: each is found and said.

The bodies are those of rendered films, whose joints are exact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from models.contract.analysis import Metric
from models.contract.coil import CoilVerdict
from models.contract.note_codes import NoteCode
from models.contract.skeleton import ANATOMICAL_BODY as BODY
from models.contract.tracks import FloatArray
from models.contract.vocabulary import Severity
from models.training.rendered.bodies import raw_joints, times, truth
from workers.engine.interface import EngineRequest, EngineResult
from workers.joints_in.arrays import RawMotion
from workers.joints_in.contents import JointFile
from workers.joints_in.measure import measure

REQUEST = EngineRequest(stature_m=1.8)


def raw(clip: str = "000") -> RawMotion:
    document = truth(clip)
    return RawMotion(times(document), raw_joints(document))


def result_of(motion: RawMotion, accuracy_m: float | None = None) -> EngineResult:
    [result] = measure(JointFile(raw=motion), REQUEST, None, accuracy_m)
    return result


def metric(result: EngineResult, key: str) -> Metric:
    return next(m for m in result.repetitions[0].metrics if m.key == key)


def swapped(joints: FloatArray) -> FloatArray:
    return joints[:, list(BODY.swap)]


@pytest.mark.parametrize(
    ("change", "code", "said"),
    [
        (lambda j: j * 1000.0, NoteCode.JOINTS_UNIT, "mm"),
        (lambda j: j * 100.0, NoteCode.JOINTS_UNIT, "cm"),
        (lambda j: j / 0.0254, NoteCode.JOINTS_UNIT, "in"),
        (lambda j: j * 7.0, NoteCode.JOINTS_SIZE, "m long"),
        (lambda j: j[..., [0, 2, 1]] * [1, 1, -1], NoteCode.JOINTS_AXES, "+y"),
        (lambda j: j[..., [2, 1, 0]] * [1, 1, -1], NoteCode.JOINTS_AXES, "+x"),
        (lambda j: j * [1, -1, -1], NoteCode.JOINTS_AXES, "-z"),
        (lambda j: j * [1, -1, 1], NoteCode.JOINTS_SIDES, "Left and right"),
        (lambda j: j * [-1, 1, 1], NoteCode.JOINTS_SIDES, "Left and right"),
        (swapped, NoteCode.JOINTS_SIDES, "Left and right"),
    ],
)
@pytest.mark.parametrize("clip", ["000", "004"])
def test_unit_axes_and_sides_are_found_and_nothing_is_measured(
    clip: str, change: Callable[[FloatArray], FloatArray], code: NoteCode, said: str
) -> None:
    motion = raw(clip)
    result = result_of(replace(motion, joints=change(motion.joints)))
    [problem] = result.problems
    assert problem.code == "joints_frame_wrong"
    assert problem.severity is Severity.BLOCKING
    assert problem.note.code == code
    assert said in problem.detail
    assert result.repetitions == ()


@pytest.mark.parametrize("clip", ["000", "001", "002", "003", "004", "005", "006"])
def test_right_files_are_not_doubted(clip: str) -> None:
    assert result_of(raw(clip)).problems == ()


def test_hips_drawn_from_the_shoulders_withhold_what_rests_on_both() -> None:
    motion = raw()
    joints = motion.joints.copy()
    shoulders, hips = (list(BODY.pair(part)) for part in ("shoulder", "hip"))
    line = joints[:, shoulders[0]] - joints[:, shoulders[1]]
    middle = joints[:, hips].mean(axis=1)
    joints[:, hips[0]], joints[:, hips[1]] = middle + 0.3 * line, middle - 0.3 * line
    result = result_of(replace(motion, joints=joints))
    assert "joints_coupled" in {p.code for p in result.problems}
    for key in ("hip_shoulder_separation", "pelvis_turn", "turn_to_bend_ratio"):
        reason = metric(result, key).reason
        assert reason is not None
        assert reason.code == NoteCode.JOINTS_LOCKED
    assert metric(result, "shoulder_turn").measurable
    coil = result.repetitions[0].coil
    assert coil is not None
    assert coil.verdict is CoilVerdict.UNDECIDED


def test_a_skeleton_without_feet_is_told() -> None:
    motion = raw()
    joints = motion.joints.copy()
    joints[:, [*BODY.pair("heel"), *BODY.pair("toe")]] = np.nan
    result = result_of(replace(motion, joints=joints))
    [problem] = [p for p in result.problems if p.code == "joints_coarse"]
    assert problem.severity is Severity.NOTE
    assert metric(result, "rear_knee_flexion").measurable


def test_times_that_are_too_short_give_no_speeds() -> None:
    motion = raw()
    result = result_of(replace(motion, time_s=motion.time_s / 1.8))
    [problem] = [p for p in result.problems if p.code == "frame_rate_doubtful"]
    assert problem.note.code == NoteCode.JOINTS_CLOCK
    reason = metric(result, "leg_drive_speed").reason
    assert reason is not None
    assert reason.code == NoteCode.TIMES_DOUBTFUL


def width(result: EngineResult) -> float:
    knee = metric(result, "rear_knee_flexion")
    assert knee.high is not None
    assert knee.low is not None
    return knee.high - knee.low


def test_a_stated_accuracy_is_taken_and_wavering_bones_are_believed() -> None:
    motion = raw()
    usual = width(result_of(motion))
    assert width(result_of(motion, 0.02)) > 3.0 * usual
    assert width(result_of(motion, 0.001)) < usual
    shaken = motion.joints + np.random.default_rng(1).normal(0.0, 0.02, motion.joints.shape)
    noisy = replace(motion, joints=shaken)
    believed = width(result_of(noisy))
    assert believed > 2.0 * usual
    assert width(result_of(noisy, 0.001)) < 0.7 * believed
