"""Turning one knob moves its metric and leaves the others within the stated tolerance."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from models.training.rendered.knobs import ServeKnobs
from models.training.rendered.performance import perform
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import repetition_truth

#: (event, metric) -> how far a knob that is not its own may move it
GUARDED = {
    ("lowest_pelvis", "rear_load_share"): 0.012,
    ("trophy", "front_knee_flexion"): 1.0,
    ("trophy", "rear_knee_flexion"): 1.0,
    ("trophy", "pelvis_turn"): 1.0,
    ("trophy", "separation"): 1.0,
    ("trophy", "shoulder_tilt"): 1.0,
    ("trophy", "hitting_elbow_flexion"): 1.5,
    ("contact", "hitting_elbow_flexion"): 0.2,
    ("contact", "shoulder_elevation"): 0.3,
    ("contact", "shoulder_tilt"): 0.3,
    ("contact", "shoulder_turn"): 0.3,
}

#: knob, new value, its (event, metric), change per unit of the knob, tolerance, metrics let go
TURNED = [
    ("rear_share", 0.66, ("lowest_pelvis", "rear_load_share"), 1.0, 0.01, ()),
    ("knee_front", 76.0, ("trophy", "front_knee_flexion"), 1.0, 0.8, ()),
    ("knee_rear", 50.0, ("trophy", "rear_knee_flexion"), 1.0, 0.8, ()),
    ("pelvis_turn", 112.0, ("trophy", "pelvis_turn"), 1.0, 0.8, ()),
    ("knee_turn", 10.0, ("trophy", "knee_turn"), 1.0, 0.8, ()),
    ("separation", 32.0, ("trophy", "separation"), 1.0, 0.8, ()),
    ("shoulder_tilt", 34.0, ("trophy", "shoulder_tilt"), 1.0, 1.0, ()),
    ("elbow_trophy", 108.0, ("trophy", "hitting_elbow_flexion"), 1.0, 1.5, ()),
    ("contact_tilt", 46.0, ("contact", "shoulder_tilt"), -1.0, 0.3, ()),
    ("contact_shoulder", 30.0, ("contact", "shoulder_turn"), 1.0, 0.3, ()),
    ("elbow_contact", 40.0, ("contact", "hitting_elbow_flexion"), 1.0, 0.3, ()),
    ("reach", 126.0, ("contact", "shoulder_elevation"), 1.0, 0.3, ()),
    ("contact_height", 1.22, ("serve", "contact_wrist_height_ratio"), None, 0.005, ()),
    ("drive", 0.50, ("serve", "trophy_to_contact_s"), 1.0, 0.01, ()),
]


@cache
def truth(**knobs):
    skeleton = sample_skeleton(np.random.default_rng(3))
    performance = perform("serve", skeleton, ServeKnobs(**knobs), sway=0.0)
    times = np.arange(int(performance.duration * 60)) / 60.0
    return repetition_truth(performance, performance.repetitions[0], times, 60.0)


@pytest.mark.parametrize(("knob", "value", "own", "gain", "tolerance", "loose"), TURNED)
def test_one_knob_moves_its_own_metric(knob, value, own, gain, tolerance, loose):
    before, after = truth()["metrics"], truth(**{knob: value})["metrics"]
    event, metric = own
    if gain is None:  # the knob names the metric's value itself
        assert after[event][metric] == pytest.approx(value, abs=tolerance)
        assert abs(after[event][metric] - before[event][metric]) > 4 * tolerance
    else:
        turn = value - getattr(ServeKnobs(), knob)
        moved = after[event][metric] - before[event][metric]
        assert moved == pytest.approx(gain * turn, abs=tolerance)
    for (event, metric), allowed in GUARDED.items():
        if (event, metric) != own and (event, metric) not in loose:
            assert after[event][metric] == pytest.approx(before[event][metric], abs=allowed), (
                event,
                metric,
            )


def test_trunk_leans_follow_their_knobs():
    base = truth()["measures"]["trunk_lean"]
    back, forward = truth(trophy_lean=18.0), truth(contact_lean=32.0)
    assert back["measures"]["trunk_lean"]["trophy"] - base["trophy"] == pytest.approx(
        -10.0, abs=1.0
    )
    assert forward["measures"]["trunk_lean"]["contact"] - base["contact"] == pytest.approx(
        8.0, abs=0.3
    )


def test_tempo_stretches_what_comes_before_loading():
    slow, base = truth(tempo=1.3)["measures"]["tempo"], truth()["measures"]["tempo"]
    assert slow["set_up_to_release"] == pytest.approx(1.3 * base["set_up_to_release"], rel=0.01)
    assert slow["trophy_to_contact"] == pytest.approx(base["trophy_to_contact"], abs=0.01)


def test_squat_and_coil_differ_in_turn_at_the_same_load_and_bend():
    squat, coil = truth(pelvis_turn=85.0, knee_turn=0.0), truth(pelvis_turn=114.0, knee_turn=8.0)
    for metric, allowed in (
        ("rear_load_share", 0.012),
        ("front_knee_flexion", 1.5),
        ("rear_knee_flexion", 1.5),
    ):
        values = [t["metrics"]["lowest_pelvis"][metric] for t in (squat, coil)]
        assert values[0] == pytest.approx(values[1], abs=allowed)
    ratio = [t["measures"]["turn_to_bend_ratio"]["loading"] for t in (squat, coil)]
    assert ratio[0] < 0.1 < 0.5 < ratio[1]


def test_pelvis_turns_before_the_forearm_swings_when_the_gap_is_opened():
    gap = [truth(sequence_gap=g)["measures"]["sequence"] for g in (0.0, 0.03)]
    lead = [s["forearm_time_s"] - s["pelvis_time_s"] for s in gap]
    assert lead[1] > lead[0] + 0.01


def test_jump_raises_contact_and_leaves_the_posture():
    low, high = truth(jump=0.02), truth(jump=0.12)
    rise = [t["metrics"]["serve"]["contact_height_m"] for t in (low, high)]
    assert rise[1] - rise[0] == pytest.approx(0.10, abs=0.01)
    for (event, metric), allowed in GUARDED.items():
        if event == "contact":
            values = [t["metrics"][event][metric] for t in (low, high)]
            assert values[1] == pytest.approx(values[0], abs=allowed), metric


def test_stance_sets_the_width_at_set_up():
    skeleton = sample_skeleton(np.random.default_rng(3))
    for stance in (0.38, 0.58):
        performance = perform("serve", skeleton, ServeKnobs(stance=stance), sway=0.0)
        p = performance.motion.body(np.array([performance.repetitions[0].knots["set_up"]])).points
        assert (p["L_ankle"] - p["R_ankle"])[0, 0] == pytest.approx(stance, abs=0.01)
