"""Holds watched live, on committed films: what is read, how often, and what is withheld."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from models.contract.live import HoldOpening
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import Handedness, View
from models.training.guard.frozen import load as frozen
from workers.engine.live import hold_now
from workers.learned import load
from workers.pipeline.hold import HoldReading
from workers.pose.live import LiveLook, live_networks
from workers.processes.hold_server import Shown, message_of, picture_of, watcher

STORY = Path(__file__).resolve().parents[2] / "data" / "story"


def shown(film: Path) -> Iterator[Shown]:
    with av.open(str(film)) as container:
        for index, frame in enumerate(container.decode(video=0)):
            pixels = np.asarray(frame.to_ndarray(format="rgb24"), np.uint8)
            yield Shown(index, float(frame.time or 0.0), pixels)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    document: dict[str, Any] = json.loads(gzip.decompress((STORY / "006.json.gz").read_bytes()))
    return document


@pytest.fixture(scope="module")
def readings() -> list[HoldReading]:
    """The held load of the story: three seconds over the rear foot."""
    hold = watcher(HoldOpening(), LiveLook(live_networks()))
    found = (hold.show(each) for each in shown(STORY / "006.mp4"))
    return [reading for reading in found if reading is not None]


def test_there_are_five_readings_a_second_or_more(readings: list[HoldReading]) -> None:
    times = np.array([reading.now.time_s for reading in readings])
    assert times[0] < 1.3  # a second of stance
    assert np.max(np.diff(times)) <= 0.2 + 1e-6


def test_the_weight_is_read_as_it_is(readings: list[HoldReading], truth: dict[str, Any]) -> None:
    true = np.array(truth["frame_metrics"]["rear_load_share"])
    at = [round(reading.now.time_s * truth["fps"]) for reading in readings]
    share = np.array([reading.now.share for reading in readings], float)
    assert np.mean(np.abs(share - true[at])) < 0.11  # the standard deviation calibration states
    inside = [
        (r.now.low or 0.0) <= true[i] <= (r.now.high or 1.0)
        for r, i in zip(readings, at, strict=True)
    ]
    assert np.mean(inside) > 0.9


def test_seconds_count_while_the_goal_is_kept_and_no_longer(
    readings: list[HoldReading], truth: dict[str, Any]
) -> None:
    true = np.array(truth["frame_metrics"]["rear_load_share"])
    kept = float(np.sum(true >= 0.6)) / truth["fps"]
    assert max(reading.held_s for reading in readings) == pytest.approx(kept, abs=0.7)
    assert readings[0].held_s == 0.0
    assert readings[-1].held_s == 0.0


def test_nobody_in_the_picture_gives_nothing_and_ends_the_hold() -> None:
    hold = watcher(HoldOpening(), LiveLook(live_networks()))
    film = list(shown(STORY / "006.mp4"))[:90]
    assert any(hold.show(each) is not None for each in film)
    grey = np.full_like(film[0].rgb, 120)
    assert all(hold.show(Shown(90 + i, 3.0 + i / 15.0, grey)) is None for i in range(12))
    assert hold._rows == []


@pytest.mark.parametrize(("azimuth", "view"), [(50.0, View.FRONT_QUARTER), (2.0, View.FRONT)])
def test_places_that_do_not_tell_the_weight_say_so(azimuth: float, view: View) -> None:
    learned = load().learned
    now = hold_now(
        frozen("010"), Handedness.RIGHT, learned.lift, learned.calibration, azimuth_deg=azimuth
    )
    assert now is not None
    assert now.view is view
    assert now.share is None
    assert now.reason is not None
    assert now.reason.code in (NoteCode.VIEW_NOT_RELIABLE, NoteCode.WORK_NOT_PROVEN)


def test_only_small_jpegs_are_opened() -> None:
    for data in (b"", b"GIF89a" + b"\0" * 40, b"\xff\xd8\xff\xe0 no picture"):
        with pytest.raises(ValueError, match="no JPEG"):
            picture_of(data)


def test_nothing_to_tell_is_told_as_such() -> None:
    assert message_of(None).model_dump(exclude_none=True) == {"reading": False}
