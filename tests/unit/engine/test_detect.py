"""Finding work in a clip: from pixels, from any side, with noise, and what is not a serve."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.vocabulary import Handedness, RepetitionKind
from models.training.guard.frozen import load as frozen
from models.training.rendered.bodies import part_of_track, simulated_track, true_motion, truth
from tests.unit.engine.test_ball import STATURE, evidence, things
from workers.engine.ball import find_toss
from workers.engine.detect import FoundWork, find_work, handedness_of, what_was_seen
from workers.engine.interface import EngineRequest
from workers.engine.signals import Signals, from_motion, from_track
from workers.engine.work import judged_by_ball, measured_work

CLIPS = ("000", "001", "002", "003", "004", "005", "006", "007", "008", "009")


def signals_of(clip: str, **options: float) -> Signals:
    signals = from_track(simulated_track(clip, **options))
    assert signals is not None
    return signals


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("noise", [0.0, 0.012, 0.03])
def test_count_and_hand_from_pixels(clip: str, noise: float) -> None:
    document = truth(clip)
    found = find_work(signals_of(clip, noise=noise))
    assert [c.kind for c in found] == [RepetitionKind.SERVE] * document["n_serves"]
    if found:
        assert handedness_of(found).value == document["handedness"]


@pytest.mark.parametrize("clip", ["000", "002", "004", "007"])
def test_the_window_holds_the_whole_serve(clip: str) -> None:
    document = truth(clip)
    track = simulated_track(clip)
    for candidate, serve in zip(find_work(signals_of(clip)), document["serves"], strict=True):
        events = serve["event_times_s"]
        assert track.time_s[candidate.start] <= events["start"] + 0.05
        assert track.time_s[candidate.stop - 1] >= events["contact"] + 0.3
        assert candidate.contact_s == pytest.approx(events["contact"], abs=0.12)


def test_windows_do_not_overlap() -> None:
    found = find_work(signals_of("007"))
    for first, second in pairwise(found):
        assert first.stop <= second.start


@pytest.mark.parametrize("clip", ["000", "003", "007"])
def test_pixels_and_metres_find_the_same(clip: str) -> None:
    from_pixels = find_work(signals_of(clip))
    signals = from_motion(true_motion(clip))
    assert signals is not None
    from_metres = find_work(signals)
    assert [c.kind for c in from_pixels] == [c.kind for c in from_metres]
    for a, b in zip(from_pixels, from_metres, strict=True):
        assert a.contact_s == pytest.approx(b.contact_s, abs=0.05)


def test_a_stated_hand_is_believed() -> None:
    assert find_work(signals_of("000"), Handedness.RIGHT)
    # the tossing hand of a right-hander is no hitting hand
    assert find_work(signals_of("000"), Handedness.LEFT) == []


def test_a_throw_without_a_raised_tossing_arm_is_a_throw() -> None:
    assert [c.kind for c in find_work(without_a_raised_arm())] == [RepetitionKind.THROW]


def test_hands_that_are_taken_for_each_other_do_not_hide_a_toss() -> None:
    """As from behind at the trophy position: for a moment both wrists are seen where one is."""
    signals = signals_of("000")
    contact = truth("000")["serves"][0]["event_times_s"]["contact"]
    mistaken = (signals.time_s > contact - 0.5) & (signals.time_s < contact - 0.3)
    tossing = signals.wrist["left"].copy()
    tossing[mistaken] = max(tossing) + 0.1
    hitting = np.where(mistaken, max(tossing), signals.wrist["right"])
    changed = replace(signals, wrist={"left": tossing, "right": hitting})
    [found] = find_work(changed)
    assert (found.kind, found.hitting) == (RepetitionKind.SERVE, Handedness.RIGHT)
    assert found.contact_s == pytest.approx(contact, abs=0.12)


def without_a_raised_arm() -> Signals:
    motion = true_motion("000")
    joints = motion.joints.copy()
    start = joints[:1]
    for joint in ("tossing_elbow", "tossing_wrist"):  # the tossing arm hangs from its shoulder
        row, shoulder = CANONICAL_BODY.rows((joint, "tossing_shoulder"))
        joints[:, row] = joints[:, shoulder] + (start[:, row] - start[:, shoulder])
    signals = from_motion(replace(motion, joints=joints))
    assert signals is not None
    return signals


@pytest.mark.parametrize(
    ("later_s", "from_hand", "serve"),
    [(0.0, 0.1, True), (0.0, 0.6, False), (0.9, 0.1, False), (None, 0.0, False)],
    ids=["tossed", "from elsewhere", "just before it is met", "no ball"],
)
def test_a_swing_at_a_tossed_ball_is_a_serve_though_no_arm_was_seen_raised(
    later_s: float | None, from_hand: float, serve: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    signals, track = without_a_raised_arm(), simulated_track("000")
    [throw] = find_work(signals)
    seen = things(60.0)
    toss = None
    if later_s is not None:  # tossed a second before the hand is highest, or later
        toss = find_toss(seen, STATURE)
        assert toss is not None
        seen_s = toss.seen_s - toss.seen_s[0] + throw.contact_s - 1.0 + later_s
        toss = replace(toss, seen_s=seen_s)
    told = replace(evidence(seen, toss), from_hand=from_hand)
    monkeypatch.setattr("workers.engine.work.evidence_of", lambda *_, **__: told)
    found = measured_work(signals, EngineRequest(), track)
    assert [one.kind for one in found] == [RepetitionKind.SERVE] * serve
    assert measured_work(signals, EngineRequest()) == []  # joints show no ball
    [asked] = measured_work(signals, EngineRequest(drill=RepetitionKind.THROW), track)
    assert asked.kind is RepetitionKind.THROW


@pytest.mark.parametrize(
    ("tossed", "room", "fps", "kind"),
    [
        (True, 1.0, 60.0, RepetitionKind.SERVE),
        (False, 1.0, 60.0, RepetitionKind.SHADOW),
        (False, 0.3, 60.0, RepetitionKind.SERVE),  # it would fly out of the picture
        (False, 1.0, 18.0, RepetitionKind.SERVE),  # too few frames to find it
    ],
)
def test_a_ball_that_would_have_been_seen_parts_serves_from_shadow_repetitions(
    tossed: bool, room: float, fps: float, kind: RepetitionKind
) -> None:
    [found] = find_work(signals_of("000"))
    doubtful = replace(found, serve_probability=0.6)
    seen = things(60.0)
    toss = find_toss(seen, STATURE) if tossed else None
    told = replace(evidence(seen, toss), top=room, step_s=1.0 / fps)
    assert judged_by_ball(doubtful, told).kind is kind
    assert judged_by_ball(doubtful, None) == doubtful


def test_a_toss_without_a_swing_is_no_serve() -> None:
    track = simulated_track("000")
    stop = truth("000")["serves"][0]["event_frames"]["lowest_pelvis"]
    cut = part_of_track(track, slice(0, stop))
    signals = from_track(cut)
    assert signals is not None
    assert find_work(signals) == []
    assert what_was_seen(signals) == "hand_overhead"


def test_one_frame_of_a_lost_hand_does_not_make_a_serve() -> None:
    track = simulated_track("009")
    xy = track.xy.copy()
    xy[40, LANDMARKS.index("right_wrist"), 1] -= 300.0
    signals = from_track(replace(track, xy=xy))
    assert signals is not None
    assert find_work(signals) == []


@pytest.mark.parametrize(("clip", "seen"), [("008", "low_swing"), ("009", "walking")])
def test_other_work_is_named(clip: str, seen: str) -> None:
    assert what_was_seen(signals_of(clip)) == seen


def test_standing_is_named() -> None:
    motion = true_motion("000")
    still = replace(motion, joints=np.repeat(motion.joints[:1], len(motion), axis=0))
    signals = from_motion(still)
    assert signals is not None
    assert find_work(signals) == []
    assert what_was_seen(signals) == "standing"


def test_nobody_is_named() -> None:
    track = simulated_track("000")
    assert from_track(replace(track, xy=np.full_like(track.xy, np.nan))) is None
    assert what_was_seen(None) == "nobody"


@pytest.mark.parametrize("lasts", [0.2, 0.9])
def test_a_wrist_that_is_hardly_seen_does_not_end_a_hold(lasts: float) -> None:
    track = frozen("010")  # held from 2.0 to 4.0 s (`tests/data/rendered/010.json.gz`)
    known = truth("010")["other_repetitions"][0]["event_times_s"]
    lost = np.zeros(len(track), dtype=bool)
    for start in (2.4, 3.5):
        lost |= (track.time_s >= start) & (track.time_s < start + lasts)
    wrist = LANDMARKS.index("left_wrist")
    xy = track.xy.copy()
    xy[lost, wrist] += 0.8 * track.height / 10.0

    def found(confidence: float) -> list[FoundWork]:
        seen = track.confidence.copy()
        seen[lost, wrist] = confidence
        signals = from_track(replace(track, xy=xy, confidence=seen))
        assert signals is not None
        return find_work(signals, drill=RepetitionKind.HOLD)

    (hold,) = found(0.1)
    assert track.time_s[hold.start] == pytest.approx(known["hold_start"], abs=0.35)
    assert track.time_s[hold.stop - 1] == pytest.approx(known["hold_end"], abs=0.35)
    # A hand that is seen to move is no hold.
    longest = max(
        (track.time_s[one.stop - 1] - track.time_s[one.start] for one in found(0.95)), default=0.0
    )
    assert longest < 1.5
