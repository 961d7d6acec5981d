"""Events that the lift times as well: they guide the search and count in part."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.contract.vocabulary import EventName, RepetitionKind
from models.training.rendered.bodies import part_of_track, simulated_track, true_motion, truth
from workers.engine.events import locate
from workers.engine.lift import TIMED, is_serve, lift_track
from workers.engine.truth import read_truth
from workers.learned import load

LEARNED = load().learned

CLIPS = ("000", "001", "002", "003", "006")


@pytest.mark.parametrize("clip", CLIPS)
def test_the_lift_times_the_events_of_serves_it_never_saw(clip: str) -> None:
    known = read_truth(truth(clip), clip)
    track = simulated_track(clip, noise=0.006)
    lifted = lift_track(track, (0, len(track)), known.handedness, LEARNED.lift)
    assert lifted is not None
    assert set(lifted.events) == set(TIMED)
    true = known.repetitions[0].events
    # a film's own length is no event, so the far end of a window can pull none of them
    assert lifted.events[EventName.CONTACT] == pytest.approx(true[EventName.CONTACT], abs=0.06)
    assert lifted.events[EventName.TROPHY] == pytest.approx(true[EventName.TROPHY], abs=0.2)


def test_contact_lies_halfway_between_seen_and_learned() -> None:
    motion = true_motion("000")
    seen = locate(motion, RepetitionKind.SERVE).events[EventName.CONTACT].time_s
    learned = {EventName.CONTACT: seen + 0.02}
    both = locate(motion, RepetitionKind.SERVE, learned=learned)
    assert both.events[EventName.CONTACT].time_s == pytest.approx(seen + 0.01, abs=1e-6)


def test_a_dip_of_the_hips_before_the_release_is_not_the_loading() -> None:
    motion = true_motion("000")
    plain = locate(motion, RepetitionKind.SERVE)
    release = plain.events[EventName.RELEASE].time_s
    dipped = motion.joints.copy()
    early = (motion.time_s > release - 0.25) & (motion.time_s < release - 0.12)
    dipped[early, :, 2] -= 0.4
    low = replace(motion, joints=dipped)
    loading = locate(low, RepetitionKind.SERVE).events[EventName.LOADING].time_s
    assert loading == pytest.approx(plain.events[EventName.LOADING].time_s, abs=0.03)


def test_other_work_is_not_learned() -> None:
    motion = true_motion("000")
    learned = {EventName.CONTACT: 0.0, EventName.TROPHY: 0.0}
    assert locate(motion, RepetitionKind.SHADOW, learned=learned) == locate(
        motion, RepetitionKind.SHADOW
    )


def test_a_film_of_too_few_frames_is_not_timed() -> None:
    track = simulated_track("000")
    slow = part_of_track(track, slice(None, None, 4))
    lifted = lift_track(
        slow, (0, len(slow)), read_truth(truth("000"), "000").handedness, LEARNED.lift
    )
    assert lifted is not None
    assert lifted.events == {}


@pytest.mark.parametrize(
    ("trophy", "low", "contact", "serve"),
    [(0.0, 0.30, 0.42, True), (0.0, 0.1, 0.42, False), (0.3, 0.30, 0.42, False)],
)
def test_clocks_that_no_serve_keeps_are_not_believed(
    trophy: float, low: float, contact: float, serve: bool
) -> None:
    times = dict(zip(TIMED, (trophy, trophy, low, contact), strict=True))
    assert is_serve(times) is serve
