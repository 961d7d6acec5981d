"""The learned lift against bodies it never saw: the committed clips were not trained on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import Handedness
from models.training.rendered.bodies import simulated_track, true_motion, truth
from workers.engine.geometry import elevation, inclination
from workers.engine.lift import METHOD, about_axis, lift_track, lifted_body
from workers.learned import load

LEARNED = load().learned

CLIPS = ("000", "001", "002", "003", "004", "006")


def body(clip: str, track: JointTrack | None = None) -> BodyMotion:
    document = truth(clip)
    heading = float(np.radians(document["camera"]["azimuth_deg"] - 90.0))
    track = simulated_track(clip, noise=0.006) if track is None else track
    lifted = lift_track(track, (0, len(track)), Handedness(document["handedness"]), LEARNED.lift)
    assert lifted is not None
    return lifted_body(track, lifted, stature_m=document["body_height_m"], heading=heading)


@pytest.mark.parametrize("clip", CLIPS)
def test_joints_about_the_hips(clip: str) -> None:
    found, true = body(clip), true_motion(clip)
    assert found.method == METHOD
    events = truth(clip)["serves"][0]["event_frames"]
    rows = slice(events["start"], events["contact"])

    def about(motion: BodyMotion) -> np.ndarray:
        hips = CANONICAL_BODY.middle(motion.joints, "hip")
        return (motion.joints - hips[:, None])[rows]

    away = np.linalg.norm(about(found) - about(true), axis=-1) / true.stature_m
    assert np.median(away) < 0.05
    assert np.percentile(away, 95) < 0.14


@pytest.mark.parametrize("clip", CLIPS)
def test_leaning_is_read_from_the_picture(clip: str) -> None:
    found, true = body(clip), true_motion(clip)
    row = truth(clip)["serves"][0]["event_frames"]["trophy"]
    tilts = [
        elevation(m.joint("hitting_shoulder")[row], m.joint("tossing_shoulder")[row])
        for m in (found, true)
    ]
    assert tilts[0] == pytest.approx(float(tilts[1]), abs=16.0)
    leans = []
    for motion in (found, true):
        hips, shoulders = (
            CANONICAL_BODY.middle(motion.joints[row], j) for j in ("hip", "shoulder")
        )
        leans.append(float(inclination(hips, shoulders)))
    assert leans[0] == pytest.approx(leans[1], abs=14.0)


def test_a_mirrored_picture_of_a_left_hander_gives_the_same_body() -> None:
    track = simulated_track("000")
    mirrored = LANDMARKS.mirror(track.xy_raw, axis=0) + np.array([track.width, 0.0])
    world = LANDMARKS.mirror(track.world, axis=0)
    right = lift_track(track, (0, len(track)), Handedness.RIGHT, LEARNED.lift)
    other = replace(track, xy_raw=mirrored, world=world)
    left = lift_track(other, (0, len(track)), Handedness.LEFT, LEARNED.lift)
    assert right is not None
    assert left is not None
    assert (right.mirrored, left.mirrored) == (False, True)
    assert left.relative == pytest.approx(right.relative, abs=1e-6)
    assert left.heading == pytest.approx(right.heading, abs=1e-6)


def test_the_size_of_the_picture_does_not_matter() -> None:
    track = simulated_track("003")
    small = replace(track, xy_raw=track.xy_raw / 2.0, width=640, height=360)
    assert body("003", small).joints == pytest.approx(body("003", track).joints, abs=1e-6)


def test_nothing_is_answered_without_joints() -> None:
    track = simulated_track("000")
    unseen = replace(track, xy_raw=np.full_like(track.xy_raw, np.nan))
    assert lift_track(unseen, (0, len(track)), Handedness.RIGHT, LEARNED.lift) is None


def test_a_person_beside_the_axis_is_turned_with_it() -> None:
    document = truth("000")
    track = simulated_track("000", noise=0.006)
    lifted = lift_track(track, (0, len(track)), Handedness(document["handedness"]), LEARNED.lift)
    assert lifted is not None
    turned = about_axis(lifted, 0.2)
    assert np.isclose(lifted.heading - turned.heading, 0.2)
    one = lifted_body(track, lifted, stature_m=1.8)
    two = lifted_body(track, turned, stature_m=1.8)
    assert np.allclose(one.joints, two.joints, atol=1e-9)
    across = np.array([1.0, 0.0, 0.0])  # of the line to the person
    seen = replace(lifted, relative=np.broadcast_to(across, lifted.relative.shape))
    assert np.allclose(about_axis(seen, 0.2).relative[0, 0], [np.cos(0.2), -np.sin(0.2), 0.0])
