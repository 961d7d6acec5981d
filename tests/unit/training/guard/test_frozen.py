"""Frozen tracks: what is kept, and how two sets of values are told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.training.guard.frozen import STEPS, load, pack, unpack
from models.training.guard.values import differences


def test_a_track_survives_freezing_to_half_a_step() -> None:
    track = load("010")
    rng = np.random.default_rng(0)
    moved = replace(track, xy=track.xy + rng.normal(0.0, 3.0, track.xy.shape))
    moved.xy[3, 4] = np.nan
    again = unpack(pack(moved))
    assert np.array_equal(np.isnan(again.xy), np.isnan(moved.xy))
    assert np.nanmax(np.abs(again.xy - moved.xy)) <= STEPS["xy"] / 2
    assert np.array_equal(again.time_s, moved.time_s)
    assert (again.width, again.height) == (moved.width, moved.height)
    for name, values in track.sources.items():
        assert np.array_equal(again.sources[name], values, equal_nan=True)


def test_a_second_freezing_changes_nothing() -> None:
    track = load("010")
    assert pack(unpack(pack(track))) == pack(track)


def test_what_cannot_be_kept_is_refused() -> None:
    track = load("010")
    with pytest.raises(ValueError, match="too large"):
        pack(replace(track, xy=track.xy + 1e6))
    with pytest.raises(ValueError, match="not a frozen"):
        unpack(track.to_npz())


def test_differences_name_the_place_and_both_values() -> None:
    old = {"a": {"value": 1.0, "low": None}, "b": [True, "x"]}
    same = {"a": {"value": 1.0 + 1e-12, "low": None}, "b": [True, "x"]}
    assert list(differences(old, same)) == []
    new = {"a": {"value": 1.1, "low": 0.5, "high": 2.0}, "b": [True]}
    assert list(differences(old, new)) == [
        "/a/value: 1.0, now 1.1",
        "/a/low: None, now 0.5",
        "/a/high: new",
        "/b: 2 entries, now 1",
    ]
