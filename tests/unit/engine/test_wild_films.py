"""Films as people make them: turned, cut off, small, blurred, mirrored; each has its advice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from models.contract.analysis import ViewEstimate
from models.contract.note_codes import NoteCode
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import Handedness, View
from models.training.rendered.bodies import part_of_track, simulated_track, true_motion, truth
from workers.engine.detect import find_work, other_hand_hits
from workers.engine.engine import analyse, analyse_motion
from workers.engine.interface import EngineRequest
from workers.engine.postures import faces_two_ways, impossible
from workers.engine.problems import Doubts, film_problems
from workers.engine.signals import from_track
from workers.engine.usability import checks
from workers.learned import load

CLIPS = ("000", "001", "002", "003", "004", "007", "008", "009")
SEEN_ELSEWHERE = {"one_person", "side_view", "frame_rate"}


def moved(track: JointTrack, change: Callable[[FloatArray], FloatArray]) -> JointTrack:
    return replace(track, xy=change(track.xy), xy_raw=change(track.xy_raw))


def upside_down(track: JointTrack) -> JointTrack:
    size = np.array([track.width, track.height])
    world = track.world * np.array([-1.0, -1.0, 1.0])
    return replace(moved(track, lambda xy: size - xy), world=world)


def on_its_side(track: JointTrack) -> JointTrack:
    turned = moved(track, lambda xy: np.stack([xy[..., 1], track.width - xy[..., 0]], axis=-1))
    return replace(turned, width=track.height, height=track.width)


def without_feet(track: JointTrack) -> JointTrack:
    ankles = LANDMARKS.middle(track.xy, "ankle")
    return replace(track, height=int(np.median(ankles[:, 1])) - 2)


def cut_by_the_side(track: JointTrack) -> JointTrack:
    hips = LANDMARKS.middle(track.xy, "hip")
    return replace(track, width=int(np.median(hips[:, 0])))


def tiny(track: JointTrack) -> JointTrack:
    return moved(track, lambda xy: xy * 0.15 + 100.0)


def unclear(track: JointTrack, *parts: str) -> JointTrack:
    confidence = track.confidence.copy()
    confidence[:, [row for part in parts for row in LANDMARKS.pair(part)]] = 0.02
    return replace(track, confidence=confidence)


def failed(track: JointTrack) -> dict[str, str]:
    """Keys of the failed checks with the code of what they say."""
    made = checks(track, [], ViewEstimate(label=View.SIDE))
    return {c.key: c.detail.code for c in made if not c.passed and c.key not in SEEN_ELSEWHERE}


def problems(track: JointTrack, stated: Handedness = Handedness.UNKNOWN) -> set[str]:
    made = checks(track, [], ViewEstimate(label=View.SIDE))
    return {p.code for p in film_problems(made, [], from_track(track), stated, Doubts())}


WILD: dict[str, tuple[Callable[[JointTrack], JointTrack], str, NoteCode]] = {
    "upside down": (upside_down, "upright", NoteCode.UPSIDE_DOWN),
    "on its side": (on_its_side, "upright", NoteCode.ON_ITS_SIDE),
    "feet cut off": (without_feet, "both_feet", NoteCode.FEET_LEAVE),
    "cut by the side": (cut_by_the_side, "whole_body", NoteCode.BODY_LEAVES),
    "tiny": (tiny, "person_size", NoteCode.PERSON_SMALL),
    "blurred hands": (lambda t: unclear(t, "wrist"), "hands_clear", NoteCode.HANDS_NOT_CLEAR),
    "hidden knees": (lambda t: unclear(t, "knee"), "body_clear", NoteCode.BODY_NOT_CLEAR),
    "hidden feet": (lambda t: unclear(t, "heel"), "feet_clear", NoteCode.FEET_NOT_CLEAR),
    "two candidates": (
        lambda t: replace(t, server_clear=False),
        "server_clear",
        NoteCode.TWO_CANDIDATES,
    ),
}


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("name", WILD)
def test_each_fault_has_its_own_finding(clip: str, name: str) -> None:
    spoil, key, code = WILD[name]
    assert failed(spoil(simulated_track(clip))).get(key) == code


@pytest.mark.parametrize("clip", CLIPS)
def test_a_good_film_has_none(clip: str) -> None:
    assert failed(simulated_track(clip)) == {}


@pytest.mark.parametrize("clip", CLIPS)
def test_a_blurred_hand_is_not_out_of_the_picture(clip: str) -> None:
    found = problems(unclear(simulated_track(clip), "wrist", "elbow"))
    assert not found & {"body_not_in_frame", "feet_not_in_frame", "not_seen_clearly"}


def test_a_turned_film_is_told_to_be_turned_and_nothing_else() -> None:
    assert problems(upside_down(simulated_track("000"))) == {"picture_not_upright"}


def test_a_mirror_image_is_found_where_the_hand_is_stated() -> None:
    track = simulated_track("000")
    stated = Handedness(truth("000")["handedness"])
    rows = _mirrored_rows()
    flipped = moved(track, lambda xy: (xy * [-1.0, 1.0] + [track.width, 0.0])[:, rows])
    flipped = replace(flipped, world=(track.world * [-1.0, 1.0, 1.0])[:, rows])
    assert problems(flipped, stated) == {"other_hand_hits"}
    assert "other_hand_hits" not in problems(flipped)  # unstated, nobody can know


@pytest.mark.parametrize("sure", [0.8, 0.999])
def test_a_tossing_arm_is_not_measured_for_the_stated_hand(sure: float) -> None:
    """A front view: the raised tossing arm looks like a serve of the hand that was stated."""
    track = simulated_track("000")
    signals = from_track(track)
    assert signals is not None
    [true] = find_work(signals)
    other = next(hand for hand in (Handedness.LEFT, Handedness.RIGHT) if hand != true.hitting)
    taken = [replace(true, hitting=other, confidence=sure * true.confidence)]
    assert other_hand_hits(signals, taken, other)
    assert not other_hand_hits(signals, [true], true.hitting)
    assert not other_hand_hits(signals, taken, Handedness.UNKNOWN)
    assert not other_hand_hits(signals, [replace(true, hitting=other, confidence=1.0)], other)
    result = analyse(track, EngineRequest(handedness=other), load().learned)
    assert result.repetitions == ()
    assert "other_hand_hits" in {problem.code for problem in result.problems}


def _mirrored_rows() -> list[int]:
    swapped = [
        name.replace("left", "R").replace("right", "left").replace("R", "right")
        for name in LANDMARKS
    ]
    return [LANDMARKS.index(name) for name in swapped]


def test_a_body_lying_down_or_head_down_or_out_of_proportion_is_refused() -> None:
    motion = true_motion("000")
    assert impossible(motion) is None
    lying = motion.joints.copy()  # on the back, knees drawn up: the head over the ankles
    lying[:, CANONICAL_BODY.pair("ankle"), 2] = -0.3
    flat = CANONICAL_BODY.middle(lying, "hip") - np.array([0.5, 0.0, 0.0])
    for row in (*CANONICAL_BODY.pair("shoulder"), CANONICAL_BODY.index("nose")):
        lying[:, row] = flat
    assert (why := impossible(replace(motion, joints=lying))) is not None
    assert why.code == NoteCode.POSTURE_LEANS
    head_down = motion.joints * [1.0, 1.0, -1.0]
    assert (why := impossible(replace(motion, joints=head_down))) is not None
    assert why.code == NoteCode.POSTURE_HEAD_LOW
    assert (why := impossible(replace(motion, joints=motion.joints * 3.0))) is not None
    assert why.code == NoteCode.POSTURE_LENGTHS


@pytest.mark.parametrize("part", ["hip", "shoulder"])
def test_two_readings_that_face_different_ways_are_not_believed(part: str) -> None:
    motion = true_motion("000")
    few, many = len(motion) // 20, len(motion) // 5
    one, two = CANONICAL_BODY.pair(part)

    def turned(rows: slice) -> BodyMotion:
        joints = motion.joints.copy()
        joints[rows, one], joints[rows, two] = motion.joints[rows, two], motion.joints[rows, one]
        return replace(motion, joints=joints)

    assert faces_two_ways(motion, motion) is None
    assert faces_two_ways(motion, turned(slice(0, few))) is None  # for an instant, as in a swing
    why = faces_two_ways(motion, turned(slice(0, many)))
    assert why is not None
    assert why.code == NoteCode.POSTURE_TWO_WAYS
    rest = slice(many, len(motion))
    part_of_it = replace(
        motion,
        time_s=motion.time_s[rest],
        frame_index=motion.frame_index[rest],
        joints=motion.joints[rest],
        sd=motion.sd[rest],
    )
    assert (
        faces_two_ways(part_of_it, turned(slice(0, many))) is None
    )  # only instants that both have


@pytest.mark.parametrize("clip", CLIPS)
def test_no_true_body_is_impossible(clip: str) -> None:
    assert impossible(true_motion(clip)) is None


def test_an_impossible_body_has_no_numbers() -> None:
    motion = true_motion("000")
    scaled = replace(motion, stature_m=motion.stature_m / 2.0)
    result = analyse_motion(scaled, EngineRequest())
    assert result.repetitions
    assert not any(m.measurable for one in result.repetitions for m in one.metrics)
    assert {m.reason.code for one in result.repetitions for m in one.metrics if m.reason} == {
        NoteCode.POSTURE_REFUSED
    }
    assert "posture_impossible" in {p.code for p in result.problems}


def test_part_of_a_film_is_enough_to_see_that_it_is_turned() -> None:
    part = part_of_track(simulated_track("000"), slice(0, 30))
    assert failed(upside_down(part))["upright"] == NoteCode.UPSIDE_DOWN
