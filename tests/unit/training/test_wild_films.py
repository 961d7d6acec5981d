"""Faults do to films what they say, and are judged by what was told."""

from __future__ import annotations

import numpy as np
import pytest

from models.training.wild_films.__main__ import judged, table
from models.training.wild_films.faults import FAULTS, Fault

EVENTS = {"set_up": 0.2, "release": 0.4, "contact": 1.2, "finish": 1.5}
NAMED = {fault.name: fault for fault in FAULTS}


def film() -> tuple[np.ndarray, np.ndarray]:
    pictures = np.zeros((60, 40, 60, 3), np.uint8)
    pictures[:, :5] = 200
    pictures[np.arange(60), 20, np.arange(60)] = 100
    return pictures, np.arange(60) / 30.0


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_gives_even_pictures_with_rising_times(fault: Fault) -> None:
    pictures, times = fault.change(*film(), EVENTS)
    assert len(pictures) == len(times) > 0
    assert np.all(np.diff(times) > 0.0)
    assert pictures.dtype == np.uint8
    assert all(side % 2 == 0 for side in pictures.shape[1:3])


def test_cut_films_do_not_hold_what_is_gone() -> None:
    late = NAMED["cut at the start"].change(*film(), EVENTS)[1]
    assert late[0] > EVENTS["release"]
    early = NAMED["cut at the end"].change(*film(), EVENTS)[1]
    assert early[-1] < EVENTS["contact"]


def test_pictures_are_turned_repeated_and_left_out() -> None:
    plain, times = film()
    turned, _ = NAMED["upside-down"].change(plain, times, EVENTS)
    assert np.array_equal(turned[:, ::-1, ::-1], plain)
    again, when = NAMED["repeated pictures"].change(plain, times, EVENTS)
    assert np.array_equal(again[0], again[1])
    assert when[-1] - when[0] == pytest.approx(times[-1] - times[0], abs=0.02)
    fewer, _ = NAMED["dropped pictures"].change(plain, times, EVENTS)
    assert 0.85 < len(fewer) / len(plain) < 0.92


def test_a_mirrored_film_is_judged_with_the_hand_stated_and_all_its_events_are_invented() -> None:
    plain, times = film()
    mirrored = NAMED["mirrored"]
    flipped, when = mirrored.change(plain, times, EVENTS)
    assert np.array_equal(flipped[:, :, ::-1], plain)
    assert np.array_equal(when, times)
    assert [fault.name for fault in FAULTS if fault.stated] == ["mirrored"]
    assert judged(mirrored, {"findings": ["other_hand_hits"], "events": []}) == (True, [])
    taken = judged(mirrored, {"findings": [], "events": [["contact", "trophy"]]})
    assert taken == (False, ["contact", "trophy"])


def test_a_fault_is_told_by_one_of_its_findings_and_an_event_that_is_gone_is_invented() -> None:
    dim = NAMED["dim"]
    assert judged(dim, {"findings": ["exposure"], "events": []}) == (True, [])
    assert judged(dim, {"findings": ["upright"], "events": []}) == (False, [])
    cut = NAMED["cut at the end"]
    assert judged(cut, {"findings": [], "events": [["release"]]}) == (True, [])
    wrong = judged(cut, {"findings": [], "events": [["release", "contact"]]})
    assert wrong == (False, ["contact"])
    assert "| cut at the end | 1 | 0 | 1 |" in table([(cut, *wrong)])
