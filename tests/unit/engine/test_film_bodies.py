"""What measures a film when the fit cannot: the lift, and the network's own 3D last of all."""

from __future__ import annotations

import pytest

from models.contract.errors import BodyNotInFrame
from models.training.rendered.bodies import simulated_track, truth
from workers.engine import film_bodies
from workers.engine.engine import analyse
from workers.engine.interface import EngineRequest
from workers.learned import load

LEARNED = load().learned


@pytest.mark.parametrize(("lost", "method"), [(False, "learned_lift"), (True, "network_3d")])
def test_a_fit_that_fails_leaves_the_next_best(
    monkeypatch: pytest.MonkeyPatch, lost: bool, method: str
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise BodyNotInFrame("Too few frames of this stretch show the body.")

    monkeypatch.setattr(film_bodies, "fit_body", fails)
    if lost:
        monkeypatch.setattr(film_bodies, "lift_track", lambda *_: None)
    stature = truth("000")["body_height_m"]
    found = analyse(simulated_track("000"), EngineRequest(stature_m=stature), LEARNED)
    assert [body.method for body in found.bodies if body] == [method]
    away = (found.view.azimuth_deg or 0.0) - truth("000")["camera"]["azimuth_deg"]
    assert abs((away + 180.0) % 360.0 - 180.0) < 20.0
