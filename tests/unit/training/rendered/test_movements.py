"""Generators of movements: what is planted stays, joints keep their limits, the racket meets the
ball, events and metrics are those of the movement, and no two generators share postures.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from models.training.rendered import truth_formulas as f
from models.training.rendered.implements import GRAVITY, Flight, Held
from models.training.rendered.movements import GENERATORS, USES, draw_kind, packed
from models.training.rendered.movements.activities import ACTIVITIES, generate
from models.training.rendered.movements.bodily import depth
from models.training.rendered.movements.performing import attempt
from models.training.rendered.movements.quick_truth import EVENTS, METRICS, quick_events, values_at
from models.training.rendered.pose import racket_points
from models.training.rendered.profiles import PROFILES, draw_clip
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import event_times, repetition_truth

FREE = ("minimum_jerk", "bumps", "force_driven", "everyday")
EVERY_KIND = [(name, "serve") for name in FREE]
EVERY_KIND += [("minimum_jerk", "hold"), ("force_driven", "hold"), ("bumps", "shadow")]
EVERY_KIND += [("everyday", "hold"), ("force_driven", "throw"), ("minimum_jerk", "throw")]


@cache
def made(name, kind, seed=0):
    rng = np.random.default_rng([91, seed])
    return GENERATORS[name](sample_skeleton(rng), rng, kind)


def times_of(performance, rate=200.0):
    return np.arange(0.0, performance.duration, 1.0 / rate)


@pytest.mark.parametrize(("name", "kind"), EVERY_KIND)
def test_bones_keep_their_length_and_bodies_do_not_run_into_themselves(name, kind):
    performance = made(name, kind)
    body = performance.motion.body(times_of(performance))
    p = body.points
    for side in "LR":
        for a, b in (("shoulder", "elbow"), ("elbow", "wrist"), ("hip", "knee"), ("knee", "ankle")):
            assert np.ptp(np.linalg.norm(p[f"{side}_{a}"] - p[f"{side}_{b}"], axis=1)) < 1e-9
    assert depth(body).max() < 0.02
    lowest = min(p[f"{side}_{part}"][:, 2].min() for side in "LR" for part in ("heel", "toe"))
    assert lowest > -0.01


@pytest.mark.parametrize(("name", "kind"), EVERY_KIND)
def test_a_standing_foot_does_not_slide(name, kind):
    # the front foot until it leaves the floor; common sense, no source
    performance = made(name, kind)
    p = performance.motion.body(times_of(performance)).points
    ball = p["L_ball"]
    floor = ball[:, 2] < performance.motion.skeleton.ball_height + 0.004
    speed = np.linalg.norm(np.diff(ball[:, :2], axis=0), axis=1) * 200.0
    both = floor[1:] & floor[:-1]
    assert both.mean() > 0.5
    assert np.quantile(speed[both], 0.98) < 0.05


def knee(p, side):
    return f.flexion(p[f"{side}_hip"], p[f"{side}_knee"], p[f"{side}_ankle"])


@pytest.mark.parametrize(("name", "kind"), EVERY_KIND)
def test_joints_keep_within_published_ranges(name, kind):
    # J Bone Joint Surg Am 1979, 61(5):756-759 (values from memory): knee 0-142, elbow 0-142; a
    # thorax turns against the pelvis by some 50 degrees in the spine alone, shoulder girdle extra
    performance = made(name, kind)
    p = performance.motion.body(times_of(performance)).points
    for side in "LR":
        assert 0.0 < knee(p, side).min() < knee(p, side).max() < 145.0
        elbow = f.flexion(p[f"{side}_shoulder"], p[f"{side}_elbow"], p[f"{side}_wrist"])
        assert elbow.max() < 146.0
    pelvis = f.line_turn(p["R_hip"], p["L_hip"])
    girdle = f.line_turn(p["R_shoulder"], p["L_shoulder"])
    assert np.abs(f.wrap180(girdle - pelvis)).max() < 75.0


@pytest.mark.parametrize("name", FREE)
@pytest.mark.parametrize("seed", range(3))
def test_racket_meets_a_ball_that_fell_freely_from_the_hand(name, seed):
    performance = made(name, "serve", seed)
    held, toss, hit = performance.ball
    assert isinstance(held, Held)
    assert isinstance(toss, Flight)
    assert isinstance(hit, Flight)
    contact = performance.repetitions[0].knots["contact"]
    body = performance.motion.body(np.array([contact]))
    spot = racket_points(performance.motion.skeleton, body)[0, 1]
    assert np.linalg.norm(toss.at(contact) - spot) < 0.05
    before, after = (
        performance.ball_at(np.array([t]))[0][0] for t in (held.t1 - 1e-6, held.t1 + 1e-6)
    )
    assert np.linalg.norm(before - after) < 1e-3
    mid = 0.5 * (toss.t0 + toss.t1)
    sag = 0.5 * (toss.at(mid - 0.1) + toss.at(mid + 0.1)) - toss.at(mid)
    assert sag[2] == pytest.approx(-0.5 * GRAVITY * 0.1**2, rel=1e-6)
    assert spot[2] > 1.1 * performance.motion.skeleton.height


@pytest.mark.parametrize("name", FREE)
def test_head_looks_at_the_ball_before_contact(name):
    angles = []
    for seed in range(4):
        performance = made(name, "serve", seed)
        knots = performance.repetitions[0].knots
        t = np.linspace(knots["release"] + 0.1, knots["contact"] - 0.15, 12)
        body = performance.motion.body(t)
        ball = np.array([b[0] for b in performance.ball_at(t)])
        gaze = body.frames["head"][:, :, 0]
        angles.append(f.angle_between(gaze, ball - body.points["skull"]))
    # eyes do the rest: they turn by 40 degrees and more (common practice, no source)
    assert np.median(angles) < 30.0


@pytest.mark.parametrize(("name", "kind"), EVERY_KIND)
def test_events_are_those_of_the_movement(name, kind):
    performance = made(name, kind)
    repetition = performance.repetitions[0]
    exact, quick = event_times(performance, repetition), quick_events(performance)
    found = dict(zip(EVENTS, quick, strict=True))
    for event, named in (
        ("loading", "lowest_pelvis"),
        ("trophy", "trophy"),
        ("racket_low", "racket_low"),
    ):
        if named in exact:
            assert found[event] == pytest.approx(exact[named], abs=0.002)
    values = dict(zip(METRICS, values_at(performance, quick)[EVENTS.index("trophy")], strict=True))
    exactly = repetition_truth(performance, repetition, times_of(performance), 200.0)
    told = exactly["metrics"]["trophy"]
    assert values["front_knee_flexion"] == pytest.approx(told["front_knee_flexion"], abs=0.1)
    assert values["rear_load_share"] == pytest.approx(told["rear_load_share"], abs=0.01)
    if kind != "hold":
        assert exact["release" if kind == "serve" else "start"] < exact["trophy"]
        assert exact["trophy"] < exact["racket_low"] < exact["contact"] < exact["finish"]


@pytest.mark.parametrize("name", FREE)
def test_a_hold_is_held(name):
    performance = made(name, "hold")
    knots = performance.repetitions[0].knots
    t = np.linspace(knots["load"] + 0.15, knots["hold_end"] - 0.15, 60)
    p = performance.motion.body(t).points
    for joint in ("mid_hip", "L_knee", "R_knee", "L_shoulder", "R_shoulder"):
        spread = p[joint].std(axis=0).max()
        assert spread < 0.02, joint
    assert p["neck"].std(axis=0).max() > 1e-4  # a living body sways


@pytest.mark.parametrize("name", FREE)
def test_the_same_seed_gives_the_same_movement(name):
    def again(seed):
        rng = np.random.default_rng(seed)
        performance = GENERATORS[name](sample_skeleton(rng), rng, "serve")
        return performance.motion.body(np.array([1.0, 1.5])).points["R_wrist"]

    assert np.array_equal(again(4), again(4))
    assert not np.allclose(again(4), again(5))


def test_centre_of_mass_of_the_force_driven_falls_freely_in_the_air():
    # Newton: nothing but weight acts on a body in the air
    falls = []
    for seed in range(12):
        rng = np.random.default_rng([17, seed])
        skeleton = sample_skeleton(rng)
        from models.training.rendered.movements.force_driven import intend

        plan, motion, _ = attempt(intend, skeleton, rng, "serve")
        if plan.stance.flight < 0.2:
            continue
        t = plan.stance.take_off + np.linspace(0.25, 0.75, 7) * plan.stance.flight
        h = 0.03

        def height(at, motion=motion, gender=skeleton.gender):
            return f.centre_of_mass(f.segment_ends(motion.body(at).points), gender)[:, 2]

        falls.append(np.mean(height(t - h) - 2 * height(t) + height(t + h)) / h**2)
    assert len(falls) > 2
    assert np.median(falls) == pytest.approx(-GRAVITY, abs=3.0)


@cache
def postures(name, count):
    """Joint angles at trophy, a row a movement: what a template would repeat."""
    rows = []
    for index in range(count):
        rng = np.random.default_rng([23, index])
        performance = GENERATORS[name](sample_skeleton(rng), rng, "serve")
        events = event_times(performance, performance.repetitions[0])
        c = performance.motion.channels(np.array([events["trophy"]]))
        rows.append(
            [float(c[n][0]) for n in ("h_el", "h_az", "h_rot", "t_el", "t_pitch", "p_pitch")]
        )
    return np.array(rows)


@pytest.mark.parametrize("name", FREE)
def test_generators_have_no_key_posture(name):
    # the template raises the arm to one posture and scatters about it; free movements do not
    template, free = postures("template", 12), postures(name, 24)
    spread = free.std(axis=0) / template.std(axis=0)
    assert np.median(spread) > 1.8
    distance = np.linalg.norm(free[:, None] - template[None], axis=2).min(axis=1)
    assert np.quantile(distance, 0.1) > 8.0


MADE_HERE = [kind for kind in ACTIVITIES if kind not in ("stand", "walk", "bounce")]


@pytest.mark.parametrize("kind", MADE_HERE)
def test_activities_are_no_serves_and_stand_on_their_feet(kind):
    rng = np.random.default_rng([31, MADE_HERE.index(kind)])
    performance = generate(sample_skeleton(rng), rng, kind)
    assert performance.negative == kind
    assert not performance.repetitions
    body = performance.motion.body(times_of(performance, 100.0))
    p = body.points
    assert depth(body).max() < 0.02
    feet = np.minimum(p["L_ball"][:, 2], p["R_ball"][:, 2])
    assert feet.min() > performance.motion.skeleton.ball_height - 0.01
    assert (feet.max() > 0.08) == (kind == "jump")
    bend = 0.5 * (knee(p, "L") + knee(p, "R"))
    deepest = {"squats": 45.0, "jump": 30.0, "pick_up": 15.0}
    assert bend.max() > deepest.get(kind, 0.0)
    if kind == "pick_up":
        assert p["L_hand"][:, 2].min() < 0.35 * performance.motion.skeleton.height


def test_unknown_activity_is_refused():
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="unknown activity"):
        generate(sample_skeleton(rng), rng, "handstand")


def test_mixed_sets_hold_every_kind():
    rng = np.random.default_rng(2)
    kinds = [draw_kind(rng) for _ in range(3000)]
    assert {"serve", "hold", "shadow", "throw", *ACTIVITIES} == set(kinds)
    assert 0.6 < kinds.count("serve") / len(kinds) < 0.72


def test_packed_files_hold_the_movements(tmp_path):
    path = packed.write("report", 3, 0, 3, tmp_path)
    with np.load(path) as file:
        data = dict(file)
    assert data["joints"].shape[1:] == (21, 3)
    assert data["joints"].dtype == np.float16
    for index in range(3):
        performance, name, kind = packed.movement("report", 3, index)
        first, last = data["offsets"][index : index + 2]
        joints = data["joints"][first:last] + data["hips"][first:last, None]
        true = packed.joints_at_60(performance)
        assert np.abs(joints - true).max() < 0.001  # half floats about the mid-hip
        assert (data["kind"][index], data["generator"][index]) == (kind, name)
        assert name == "force_driven"
        # frame i is at i / 60 seconds
        t = np.arange(last - first) / packed.FPS
        seen = performance.motion.body(t).points["R_wrist"]
        assert np.abs(seen - true[:, packed.PACKED_JOINTS.index("right_wrist")]).max() < 1e-6
    assert packed.write("report", 3, 0, 3, tmp_path) == path  # kept, not made anew


def test_uses_share_no_generator_and_profiles_say_theirs():
    names = [name for use in USES.values() for name in use]
    assert len(names) == len(set(names))
    assert set(names) <= set(GENERATORS)
    for use, own in USES.items():
        assert f"moves_{use}" in PROFILES
        drawn = {draw_clip(f"moves_{use}", 5, k)[0].generator for k in range(12)}
        assert drawn == set(own)
