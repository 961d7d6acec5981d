"""A film that begins late or ends early: what it does not show is refused, the rest stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.note_codes import NoteCode
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import EventName, RepetitionKind
from models.training.rendered.bodies import true_motion, truth
from workers.engine.events import Located, locate

CLIPS = ("000", "002", "003")
COUNTED = {
    EventName.SET_UP: "start",
    EventName.RELEASE: "release",
    EventName.CONTACT: "contact",
    EventName.FINISH: "finish",
}


def cut(motion: BodyMotion, start: float, end: float) -> BodyMotion:
    rows = (motion.time_s >= start) & (motion.time_s <= end)
    return replace(
        motion,
        time_s=motion.time_s[rows],
        frame_index=motion.frame_index[rows],
        joints=motion.joints[rows],
        sd=motion.sd[rows],
    )


def located(clip: str, start: float = -np.inf, end: float = np.inf) -> Located:
    return locate(cut(true_motion(clip), start, end), RepetitionKind.SERVE)


def times(clip: str) -> dict[str, float]:
    known: dict[str, float] = truth(clip)["serves"][0]["event_times_s"]
    return known


@pytest.mark.parametrize("clip", CLIPS)
def test_a_whole_film_misses_nothing_at_its_beginning(clip: str) -> None:
    found = located(clip)
    assert {EventName.SET_UP, EventName.RELEASE, EventName.CONTACT} <= found.events.keys()


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("share", [0.35, 0.6, 0.9])
def test_a_film_that_begins_after_the_stance_has_no_set_up(clip: str, share: float) -> None:
    known = times(clip)
    start = known["start"] + share * (known["release"] - known["start"])
    found = located(clip, start=start)
    assert EventName.SET_UP not in found.events
    assert found.missing[EventName.SET_UP] is NoteCode.FILM_STARTS_LATE
    assert found.events[EventName.CONTACT].time_s == pytest.approx(known["contact"], abs=0.05)


@pytest.mark.parametrize("clip", CLIPS)
def test_a_film_that_begins_after_the_release_has_no_release(clip: str) -> None:
    known = times(clip)
    found = located(clip, start=known["release"] + 0.12)
    for event in (EventName.SET_UP, EventName.RELEASE):
        assert event not in found.events
        assert found.missing[event] is NoteCode.FILM_STARTS_LATE


@pytest.mark.parametrize("clip", CLIPS)
def test_a_film_that_ends_in_the_swing_has_no_finish(clip: str) -> None:
    known = times(clip)
    found = located(clip, end=known["contact"] + 0.15)
    assert EventName.FINISH not in found.events
    assert found.missing[EventName.FINISH] is NoteCode.FILM_ENDS_EARLY
    assert EventName.SET_UP in found.events


@pytest.mark.parametrize("clip", CLIPS)
def test_a_film_that_ends_before_contact_has_none(clip: str) -> None:
    found = located(clip, end=times(clip)["contact"] - 0.05)
    assert EventName.CONTACT not in found.events
    assert found.missing[EventName.CONTACT] is NoteCode.FILM_ENDS_EARLY
