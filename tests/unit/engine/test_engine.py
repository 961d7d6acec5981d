"""The engine on joints in, and on tracks such as the pose network gives.

The truth comes from the committed rendered clips; their metrics were computed by formulas of
their own.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from models.contract.analysis import Metric, Repetition
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from models.training.load_truth import Masses
from models.training.rendered.bodies import (
    mirrored_joints,
    raw_joints,
    simulated_track,
    times,
    true_motion,
    truth,
    turned,
)
from workers.engine.canonical import to_court
from workers.engine.engine import analyse, analyse_motion
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.truth import read_truth
from workers.learned import load

LEARNED = load().learned

SERVES = ("000", "001", "002", "003", "004", "005", "006")


@cache
def measured(clip: str) -> EngineResult:
    motion = true_motion(clip)
    return analyse_motion(motion, EngineRequest(stature_m=motion.stature_m))


def by_name(repetition: Repetition) -> dict[str, Metric]:
    return {f"{m.key}@{m.event}" if m.event else m.key: m for m in repetition.metrics}


def values(result: EngineResult) -> dict[str, float]:
    return {
        name: metric.value
        for name, metric in by_name(result.repetitions[0]).items()
        if metric.value is not None
    }


@pytest.mark.parametrize("clip", SERVES)
def test_one_serve_with_events_in_order(clip: str) -> None:
    result = measured(clip)
    assert [r.kind for r in result.repetitions] == [RepetitionKind.SERVE]
    events = result.repetitions[0].events
    order = ("set_up", "release", "trophy", "racket_low", "contact", "finish")
    at = [events[EventName(name)].time_s for name in order]
    assert at == sorted(at)
    assert result.problems == ()


@pytest.mark.parametrize("clip", SERVES)
def test_event_times_of_true_motion(clip: str) -> None:
    known = read_truth(truth(clip)).repetitions[0].events
    found = measured(clip).repetitions[0].events
    limits = {
        EventName.CONTACT: 0.012,
        EventName.LOADING: 0.012,
        EventName.TROPHY: 0.012,
        EventName.RACKET_LOW: 0.016,
        EventName.RELEASE: 0.02,
        EventName.SET_UP: 0.08,
        EventName.FINISH: 0.08,
    }
    for event, limit in limits.items():
        assert found[event].time_s == pytest.approx(known[event], abs=limit), event


@pytest.mark.parametrize("clip", SERVES)
def test_metrics_of_true_motion_agree_with_independent_formulas(clip: str) -> None:
    known = read_truth(truth(clip)).repetitions[0].metrics
    found = values(measured(clip))
    shared = set(known) & set(found)
    assert len(shared) >= 22
    # the knees straighten by 200 to 300 deg/s at contact, which is known to about 0.01 s
    limits = {"1": 0.02, "s": 0.09, "deg": 4.5}
    units = {name: m.unit for name, m in by_name(measured(clip).repetitions[0]).items()}
    for name in shared:
        assert found[name] == pytest.approx(known[name], abs=limits[units[name]]), name


def test_three_serves_are_counted() -> None:
    known = read_truth(truth("007"))
    found = measured("007").repetitions
    assert [r.kind for r in found] == [RepetitionKind.SERVE] * 3
    for repetition, true in zip(found, known.repetitions, strict=True):
        contact = repetition.events[EventName.CONTACT].time_s
        assert contact == pytest.approx(true.events[EventName.CONTACT], abs=0.02)


@pytest.mark.parametrize(("clip", "seen"), [("008", "groundstroke"), ("009", "walking")])
def test_other_work_is_no_serve_and_is_named(clip: str, seen: str) -> None:
    result = measured(clip)
    assert result.repetitions == ()
    assert [p.code for p in result.problems] == ["no_serve_found"]
    assert seen in result.problems[0].detail


def test_left_and_right_handers_measure_the_same() -> None:
    # the mirror image of a right-handed serve, given as a left-hander's
    document = truth("000")
    joints, time = raw_joints(document), times(document)
    right = to_court(time, joints, handedness=Handedness.UNKNOWN, stature_m=1.8)
    left = to_court(time, mirrored_joints(joints), handedness=Handedness.UNKNOWN, stature_m=1.8)
    assert (right.mirrored, left.mirrored) == (False, True)
    request = EngineRequest(stature_m=1.8)
    one, other = values(analyse_motion(right, request)), values(analyse_motion(left, request))
    assert one.keys() == other.keys()
    for name, value in one.items():
        assert other[name] == pytest.approx(value, abs=2e-3), name


@pytest.mark.parametrize("angle", [37.0, -150.0])
def test_turning_the_laboratory_about_the_vertical_changes_nothing(angle: float) -> None:
    document = truth("000")
    joints, time = raw_joints(document), times(document)
    request = EngineRequest(stature_m=1.8)
    plain = to_court(time, joints, handedness=Handedness.RIGHT, stature_m=1.8)
    spun = to_court(time, turned(joints, angle), handedness=Handedness.RIGHT, stature_m=1.8)
    one, other = values(analyse_motion(plain, request)), values(analyse_motion(spun, request))
    for name, value in one.items():
        assert other[name] == pytest.approx(value, abs=5e-3), name


def test_the_target_direction_is_found_from_the_swing() -> None:
    for clip in SERVES:
        document = truth(clip)
        motion = to_court(times(document), raw_joints(document), handedness=Handedness.UNKNOWN)
        known = true_motion(clip)
        assert motion.mirrored == known.mirrored
        turn = values(analyse_motion(motion, EngineRequest()))["pelvis_turn_absolute@loading"]
        true = read_truth(document).repetitions[0].metrics["pelvis_turn_absolute@loading"]
        assert turn == pytest.approx(true, abs=9.0)


def test_a_smaller_body_changes_lengths_only() -> None:
    motion = true_motion("003")
    small = replace(motion, joints=0.7 * motion.joints, stature_m=0.7 * motion.stature_m)
    one = measured("003").repetitions[0]
    other = analyse_motion(small, EngineRequest(stature_m=small.stature_m)).repetitions[0]
    found = by_name(other)
    for name, metric in by_name(one).items():
        if metric.value is None or found[name].value is None or "dynamic" in name:
            continue  # the dynamic share holds gravity, which does not scale
        factor = 0.7 if metric.unit in ("m", "m/s") else 1.0
        assert found[name].value == pytest.approx(factor * metric.value, rel=1e-3, abs=2e-3), name


def test_a_slower_clock_stretches_times_and_leaves_postures() -> None:
    motion = true_motion("000")
    slow = replace(motion, time_s=1.1 * motion.time_s)
    one = by_name(measured("000").repetitions[0])
    other = by_name(analyse_motion(slow, EngineRequest()).repetitions[0])
    assert other["tempo"].value == pytest.approx(1.1 * (one["tempo"].value or 0), abs=0.02)
    for name in ("front_knee_flexion@loading", "pelvis_turn@loading", "shoulder_line_tilt@trophy"):
        assert other[name].value == pytest.approx(one[name].value, abs=0.5)


def test_noisier_joints_widen_the_intervals() -> None:
    widths = []
    for sd in (0.002, 0.01, 0.03):
        motion = true_motion("000", sd=sd)
        found = by_name(analyse_motion(motion, EngineRequest()).repetitions[0])
        widths.append(
            np.array(
                [
                    (found[n].high or 0) - (found[n].low or 0)
                    for n in (
                        "rear_knee_flexion@loading",
                        "shoulder_line_tilt@trophy",
                        "rear_foot_load_share@loading",
                        "elbow_flexion@racket_low",
                        "pelvis_turn@loading",
                    )
                ]
            )
        )
    assert (widths[0] < widths[1]).all()
    assert (widths[1] < widths[2]).all()


def test_intervals_of_noisy_joints_hold_the_truth() -> None:
    # 7 serves, about 20 metrics: nominal 95 %
    inside: list[bool] = []
    for i, clip in enumerate(SERVES):
        motion = true_motion(clip, sd=0.015)
        step = float(np.median(np.diff(motion.time_s)))
        keep = np.exp(-step / 0.05)
        rng = np.random.default_rng(100 + i)
        noise = rng.normal(size=motion.joints.shape)
        for k in range(1, len(noise)):
            noise[k] = keep * noise[k - 1] + np.sqrt(1 - keep**2) * noise[k]
        shaken = replace(motion, joints=motion.joints + 0.015 * noise)
        found = by_name(analyse_motion(shaken, EngineRequest()).repetitions[0])
        known = read_truth(truth(clip)).repetitions[0].metrics
        inside += [
            bool(m.low <= known[n] <= m.high)
            for n, m in found.items()
            if n in known and m.low is not None and m.high is not None
        ]
    assert len(inside) > 100
    assert 0.88 <= np.mean(inside) <= 1.0


def test_same_seed_same_answer() -> None:
    motion = true_motion("001")
    first = analyse_motion(motion, EngineRequest(seed=4)).repetitions
    assert analyse_motion(motion, EngineRequest(seed=4)).repetitions == first
    assert analyse_motion(motion, EngineRequest(seed=5)).repetitions != first


def test_published_means_bound_the_rendered_serves() -> None:
    # Front Sports Act Living 2024, doi 10.3389/fspor.2024.1432030: mean ± 3 SD bounds
    bounds = {
        "front_knee_flexion@trophy": (35.0, 94.0),
        "elbow_flexion@contact": (0.0, 78.0),
        "shoulder_elevation@contact": (60.0, 161.0),
    }
    for clip in SERVES:
        found = values(measured(clip))
        for name, (low, high) in bounds.items():
            assert low <= found[name] <= high, (clip, name)


@pytest.mark.parametrize("clip", ["000", "002", "004"])
def test_a_track_of_landmarks_is_measured_end_to_end(clip: str) -> None:
    document = truth(clip)
    track = simulated_track(clip)
    result = analyse(track, EngineRequest(stature_m=document["body_height_m"]), LEARNED)
    assert [r.kind for r in result.repetitions] == [RepetitionKind.SERVE]
    assert result.handedness.value == document["handedness"]
    body = result.bodies[0]
    assert isinstance(body, BodyMotion)
    assert body.mirrored == (document["handedness"] == "left")
    contact = result.repetitions[0].events[EventName.CONTACT]
    true = document["serves"][0]["event_times_s"]["contact"]
    assert contact.time_s == pytest.approx(true, abs=1.6 / document["fps"] + 0.01)
    assert result.view.label is not View.UNKNOWN


def test_cut_off_feet_are_stated_and_weight_is_withheld() -> None:
    track = simulated_track("005")
    result = analyse(track, EngineRequest(stature_m=1.8), LEARNED)
    assert "feet_not_in_frame" in {p.code for p in result.problems}
    share = by_name(result.repetitions[0])["rear_foot_load_share@loading"]
    assert not share.measurable
    assert share.value is None
    assert "feet" in str(share.reason)


def test_a_second_person_is_stated() -> None:
    result = analyse(simulated_track("006"), EngineRequest(), LEARNED)
    assert "several_people" in {p.code for p in result.problems}


def test_thirty_frames_per_second_do_not_give_arm_speeds() -> None:
    metric = by_name(measured("001").repetitions[0])["wrist_speed_peak"]
    assert not metric.measurable
    assert "frames per second" in str(metric.reason)


def test_the_caller_may_say_that_the_swings_are_throws() -> None:
    motion = true_motion("000")
    result = analyse_motion(motion, EngineRequest(drill=RepetitionKind.THROW))
    repetition = result.repetitions[0]
    assert repetition.kind is RepetitionKind.THROW
    assert by_name(repetition)["throw_elevation@contact"].measurable


def test_a_still_stretch_in_the_loaded_posture_is_a_hold() -> None:
    motion = true_motion("000")
    row = truth("000")["serves"][0]["event_frames"]["lowest_pelvis"]
    still = np.repeat(motion.joints[row : row + 1], 180, axis=0)
    joints = np.concatenate([motion.joints[:row], still])
    time = np.arange(len(joints)) / 60.0
    held = replace(
        motion,
        time_s=time,
        frame_index=np.arange(len(joints)),
        joints=joints,
        sd=np.full(joints.shape, 0.002),
    )
    result = analyse_motion(held, EngineRequest())
    assert [r.kind for r in result.repetitions] == [RepetitionKind.HOLD]
    found = by_name(result.repetitions[0])
    assert found["hold_duration"].value == pytest.approx(3.0, abs=0.35)
    true = Masses(truth("000")).posture[row]
    assert found["hold_rear_foot_load_share"].value == pytest.approx(true, abs=0.012)


def test_a_slow_swing_is_a_shadow_repetition() -> None:
    motion = true_motion("000")
    slow = replace(motion, time_s=2.2 * motion.time_s)
    result = analyse_motion(slow, EngineRequest(capture_fps=27.0))
    assert [r.kind for r in result.repetitions] == [RepetitionKind.SHADOW]
    events = result.repetitions[0].events
    known = truth("000")["serves"][0]["event_times_s"]
    assert events[EventName.CONTACT].time_s == pytest.approx(2.2 * known["contact"], abs=0.08)


def test_nothing_but_nan_is_answered_not_raised() -> None:
    track = simulated_track("000")
    empty = replace(track, xy=np.full_like(track.xy, np.nan))
    result = analyse(empty, EngineRequest(), LEARNED)
    assert result.repetitions == ()
    assert {p.code for p in result.problems} >= {"no_person"}
