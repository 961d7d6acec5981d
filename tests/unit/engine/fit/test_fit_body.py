"""The fit as a whole, on joints projected from the committed ground truth (CC0).

No network here: pixels are exact up to stated noise, so that what is tested is geometry.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from models.contract.errors import BodyNotInFrame
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS, counterpart
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import Handedness
from models.training.rendered.bodies import part_of_track, times, track_of, true_motion, truth
from workers.engine.fit import FitResult, fit_body
from workers.engine.geometry import elevation, flexion, inclination, wrap180
from workers.engine.interface import EngineRequest
from workers.learned import load

LEARNED = load().learned

SERVE = "000"


def plain_track(noise: float, seed: int = 0) -> JointTrack:
    """Joint centres as an unknown source gives them: no landmark offsets to undo."""
    track = track_of(truth(SERVE), noise=noise, depth=1.0, seed=seed)
    seen = np.concatenate([track.xy, track.confidence[..., None]], axis=-1)
    return replace(track, sources={"joints": seen})


def mirrored_track(track: JointTrack) -> JointTrack:
    """The film of the same serve in a mirror: a left-hander."""
    xy = LANDMARKS.mirror(track.xy, axis=0) + np.array([track.width, 0.0])
    return replace(
        track,
        xy=xy,
        xy_raw=xy,
        world=LANDMARKS.mirror(track.world, axis=0),
        sources={"joints": np.concatenate([xy, track.confidence[..., None]], axis=-1)},
    )


@cache
def fitted(noise: float = 0.004) -> FitResult:
    return fit(plain_track(noise))


def fit(track: JointTrack, hand: Handedness = Handedness.RIGHT, **request: float) -> FitResult:
    known = {"stature_m": truth(SERVE)["body_height_m"], **request}
    return fit_body(
        track,
        (0.0, 99.0),
        handedness=hand,
        request=EngineRequest(**known),
        landmarks=LEARNED.landmarks,
    )


def angles(motion: BodyMotion) -> FloatArray:
    hips = CANONICAL_BODY.middle(motion.joints, "hip")
    shoulders = CANONICAL_BODY.middle(motion.joints, "shoulder")
    knees = [
        flexion(*(motion.joint(f"{s}_{n}") for n in ("hip", "knee", "ankle")))
        for s in ("front", "rear")
    ]
    tilt = elevation(motion.joint("hitting_shoulder"), motion.joint("tossing_shoulder"))
    return np.stack([*knees, tilt, inclination(hips, shoulders)], axis=-1)


def test_angles_come_back_from_nearly_exact_pixels() -> None:
    found, true = angles(fitted().motion), angles(true_motion(SERVE))
    trophy = truth(SERVE)["serves"][0]["event_frames"]["trophy"]
    error = np.abs(found - true)[trophy - 2 : trophy + 3].mean(axis=0)
    assert error[:2].max() < 6.0
    assert error[2] < 4.0
    assert error[3] < 4.0


def test_bones_keep_their_length_and_feet_their_place() -> None:
    motion = fitted().motion
    for side in ("front", "rear"):
        thigh = np.linalg.norm(motion.joint(f"{side}_hip") - motion.joint(f"{side}_knee"), axis=1)
        assert np.ptp(thigh) < 0.01
    toe = motion.joint("front_toe")[fitted().planted[:, 0] & (motion.time_s < 1.2)]
    assert np.ptp(toe, axis=0).max() < 0.03
    assert np.median(toe[:, 2]) == pytest.approx(0.02, abs=0.02)


def test_the_camera_stands_where_it_stood() -> None:
    off = wrap180(fitted().azimuth_deg - truth(SERVE)["camera"]["azimuth_deg"])
    assert abs(off) < 15.0
    assert 2.0 < fitted().azimuth_sd < 20.0


def test_the_camera_sees_the_body_where_the_landmarks_were() -> None:
    result = fitted()
    camera = result.motion.camera
    assert camera is not None
    for name in ("front_knee", "hitting_wrist", "tossing_shoulder"):
        seen = plain_track(0.0).xy[:, LANDMARKS.index(counterpart(name, left_handed=False))]
        drawn = camera.project(result.motion.joint(name))
        assert np.median(np.linalg.norm(drawn - seen, axis=1)) < 8.0


def test_a_left_hander_is_a_right_hander_in_the_mirror() -> None:
    other = fit(mirrored_track(plain_track(0.004)), Handedness.LEFT)
    assert other.motion.mirrored
    np.testing.assert_allclose(other.motion.joints, fitted().motion.joints, atol=1e-6)
    assert other.azimuth_deg == pytest.approx(fitted().azimuth_deg, abs=1e-4)


def test_a_given_azimuth_only_turns_the_body() -> None:
    other = fit(plain_track(0.004), azimuth_deg=fitted().azimuth_deg + 20.0)
    np.testing.assert_allclose(angles(other.motion), angles(fitted().motion), atol=1e-6)
    line = [
        m.joint("front_hip")[0] - m.joint("rear_hip")[0] for m in (fitted().motion, other.motion)
    ]
    turn = [np.degrees(np.arctan2(v[1], v[0])) for v in line]
    assert wrap180(turn[0] - turn[1]) == pytest.approx(20.0, abs=0.01)


def test_lengths_scale_with_the_standing_height() -> None:
    tall = truth(SERVE)["body_height_m"]
    other = fit(plain_track(0.004), stature_m=1.1 * tall)
    span = [
        np.linalg.norm(m.joint("front_hip")[0] - m.joint("front_ankle")[0])
        for m in (fitted().motion, other.motion)
    ]
    # Not exactly 1.1: the camera's usual distance stays in metres.
    assert span[1] / span[0] == pytest.approx(1.1, abs=0.02)


def test_samples_spread_as_the_sd_says_and_repeat_with_the_seed() -> None:
    result = fitted()
    draws = result.sample(24, 5)
    assert draws.shape == (24, *result.motion.joints.shape)
    np.testing.assert_array_equal(draws, result.sample(24, 5))
    knee = CANONICAL_BODY.index("front_knee")
    spread = np.median(draws[:, :, knee].std(axis=0)[:, 2])
    assert spread == pytest.approx(np.median(result.motion.sd[:, knee, 2]), rel=0.6)


def test_time_is_data() -> None:
    track = plain_track(0.004)
    keep = np.flatnonzero(np.random.default_rng(0).random(len(track)) > 0.25)
    sparse = part_of_track(track, keep)
    trophy = truth(SERVE)["serves"][0]["event_times_s"]["trophy"]
    at = [
        angles(m)[np.abs(m.time_s - trophy).argmin()] for m in (fitted().motion, fit(sparse).motion)
    ]
    assert np.abs(at[0] - at[1]).max() < 6.0
    assert times(truth(SERVE))[0] == 0.0


def test_too_few_frames_are_refused() -> None:
    with pytest.raises(BodyNotInFrame):
        fit_body(
            plain_track(0.0),
            (0.0, 0.05),
            handedness=Handedness.RIGHT,
            request=EngineRequest(),
            landmarks=LEARNED.landmarks,
        )


def test_bodies_are_drawn_alike_however_many_together(monkeypatch: pytest.MonkeyPatch) -> None:
    together = fitted().sample(11, 3)
    monkeypatch.setattr("workers.engine.fit.result.AT_A_TIME", 1)
    np.testing.assert_allclose(fitted().sample(11, 3), together, rtol=0.0, atol=1e-12)
    assert np.std(together, axis=0).max() > 1e-3
