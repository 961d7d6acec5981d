from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.contract.vocabulary import EventName
from models.training.rendered.clips import sampled_body
from models.training.rendered.pairs import document, measured
from models.training.rendered.profiles import draw_clip
from workers.engine.stillness import GAP_S, lasting

TIME = np.arange(0.0, 1.0, 0.01)


def _still(*stretches: tuple[float, float]) -> np.ndarray:
    return np.any(
        [(start - 1e-9 <= TIME) & (end + 1e-9 >= TIME) for start, end in stretches], axis=0
    )


def test_a_lull_is_no_stance() -> None:
    stance, lull = (0.1, 0.4), (0.7, 0.75)
    assert (lasting(_still(stance, lull), TIME, 0.15) == _still(stance)).all()


def test_short_unrest_does_not_end_a_stance() -> None:
    broken = _still((0.1, 0.2), (0.2 + 0.9 * GAP_S, 0.3))
    assert (lasting(broken, TIME, 0.15) == broken).all()
    assert not lasting(_still((0.1, 0.2), (0.2 + 1.2 * GAP_S, 0.35)), TIME, 0.15).any()


def test_never_still() -> None:
    assert not lasting(np.zeros(100, dtype=np.bool_), TIME, 0.15).any()


def test_a_backswing_that_nearly_stops_is_not_set_up() -> None:
    """A serve whose hands all but stop half a second after they started."""
    spec, rng = draw_clip("calibration", 1, 35)
    truth = document(replace(spec, fps=120.0), sampled_body(rng))
    found = measured(truth, "joints", 350).repetitions[0]
    start = truth["serves"][0]["event_times_s"]["start"]
    assert found.events[EventName.SET_UP].time_s == pytest.approx(start, abs=0.1)
