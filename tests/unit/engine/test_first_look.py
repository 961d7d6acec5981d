"""The engine's first verdict, on thinned tracks of rendered films whose cameras are known."""

from __future__ import annotations

import gzip
import json
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from models.contract.tracks import JointTrack
from models.contract.vocabulary import View
from models.training.guard.frozen import FILMS, frozen_films, load
from workers.engine.first_look import AZIMUTH_SD, glance
from workers.engine.interface import EngineRequest
from workers.engine.windows import worth_a_look
from workers.learned import load as load_engine

EVERY_S = 0.08


def thinned(track: JointTrack) -> JointTrack:
    """Return the rows that a first look would have."""
    due, rows = -np.inf, []
    for row, time_s in enumerate(track.time_s):
        if time_s >= due - 1e-9:
            rows.append(row)
            due = time_s + EVERY_S
    per_frame = {
        one.name: getattr(track, one.name)[rows]
        for one in fields(track)
        if isinstance(getattr(track, one.name), np.ndarray)
    }
    return replace(track, **per_frame, sources={})


def truth(film: str) -> dict[str, Any]:
    with gzip.open(FILMS / f"{film}.json.gz") as file:
        read: dict[str, Any] = json.load(file)
    return read


@pytest.mark.parametrize("film", frozen_films())
def test_view_and_stretches_of_films_with_known_cameras(film: str) -> None:
    known = truth(film)
    coarse = thinned(load(film))
    stretches = worth_a_look(coarse)
    seen = glance(coarse, stretches, EngineRequest(), load_engine().learned)
    assert bool(stretches) or not known["is_serve"]
    assert [problem.code for problem in seen.problems] == ([] if stretches else ["no_serve_found"])
    if stretches:
        assert seen.view.azimuth_deg is not None
        off = (seen.view.azimuth_deg - known["camera"]["azimuth_deg"] + 180.0) % 360.0 - 180.0
        assert abs(off) <= 2.5 * AZIMUTH_SD
    else:
        assert seen.view.label is View.UNKNOWN


def test_feet_out_of_the_picture_are_noticed() -> None:
    cut_off = [film for film in frozen_films() if truth(film)["feet_out_of_frame"]]
    assert cut_off
    for film in cut_off:
        coarse = thinned(load(film))
        seen = glance(coarse, worth_a_look(coarse), EngineRequest(), load_engine().learned)
        assert "both_feet" in {check.key for check in seen.checks if not check.passed}


def test_a_given_view_is_kept() -> None:
    coarse = thinned(load(frozen_films()[0]))
    request = EngineRequest(azimuth_deg=45.0)
    seen = glance(coarse, worth_a_look(coarse), request, load_engine().learned)
    assert seen.view.source == "given"
    assert seen.view.azimuth_deg == 45.0
