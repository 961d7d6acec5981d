"""The fit with lines of the court in the picture: a committed body (CC0) on an ITF court."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from models.contract.sightings import Sightings
from models.contract.tracks import FloatArray, JointTrack
from models.contract.vocabulary import Handedness
from models.training.rendered.bodies import track_of, truth
from tests.unit.engine.test_court_lines import EDGES
from workers.engine.fit import FitResult, fit_body
from workers.engine.fit.result import ClipContext
from workers.engine.interface import EngineRequest
from workers.learned import load

SERVE = "000"
DOCUMENT = truth(SERVE)


def court() -> FloatArray:
    """Ends (N, 2, 2) of the court's edges as the film's camera saw them, as far as it did."""
    camera = DOCUMENT["camera"]
    turn, shift, lens = (np.array(camera[name], float) for name in ("R", "t", "K"))
    share = np.linspace(0.0, 1.0, 201)[:, None]
    found = []
    for first, last in EDGES:
        ground = np.column_stack([first * (1.0 - share) + last * share, np.zeros(len(share))])
        seen = ground @ turn.T + shift
        uv = (seen @ lens.T)[:, :2] / np.maximum(seen[:, 2:], 1e-9)
        size = np.array([DOCUMENT["width"], DOCUMENT["height"]])
        rows = np.flatnonzero((seen[:, 2] > 0.5) & ((uv > 0) & (uv < size)).all(axis=1))
        if len(rows) > 3 and np.linalg.norm(uv[rows[-1]] - uv[rows[0]]) > 20.0:
            found.append(uv[[rows[0], rows[-1]]])
    return np.array(found)


@cache
def fitted(*, lines: bool) -> FitResult:
    return fit(track(lines=lines))


def track(*, lines: bool) -> JointTrack:
    joints = track_of(DOCUMENT, noise=0.004, depth=1.0)
    ends = court() if lines else np.empty((0, 2, 2))
    seen = Sightings(edge_frame=np.zeros(len(ends), np.int64), edge_ends=ends)
    return replace(joints, sightings=seen)


def fit(joints: JointTrack, context: ClipContext | None = None, **request: float) -> FitResult:
    return fit_body(
        joints,
        (0.0, 99.0),
        handedness=Handedness(DOCUMENT["handedness"]),
        request=EngineRequest(stature_m=DOCUMENT["body_height_m"], **request),
        landmarks=load().learned.landmarks,
        context=context,
    )


def test_lines_narrow_the_azimuth() -> None:
    body, both = fitted(lines=False), fitted(lines=True)
    assert not body.by_lines
    assert both.by_lines
    assert both.azimuth_sd < body.azimuth_sd
    true = DOCUMENT["camera"]["azimuth_deg"]
    off = both.azimuth_deg - true
    assert abs(off) < 1.96 * both.azimuth_sd
    assert abs(off) < abs(body.azimuth_deg - true)


def test_lines_are_counted_once_in_a_film() -> None:
    first = fitted(lines=True)
    second = fit(track(lines=True), first.context)
    alone = fit(track(lines=False), first.context)
    assert second.by_lines
    assert second.azimuth_sd == alone.azimuth_sd


def test_what_the_caller_states_is_believed() -> None:
    stated = fit(track(lines=True), azimuth_deg=70.0)
    assert not stated.by_lines
    assert stated.azimuth_deg == 70.0
