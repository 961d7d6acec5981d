"""Turning points, and several tellings of one time (weighted mean: JCGM 100:2008, H.5)."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.vocabulary import EventName
from workers.engine.event_errors import NO_EVENT_ERRORS, WITHOUT, EventErrors
from workers.engine.turning import Told, joined, turning

T = np.linspace(0.0, 1.0, 481)
ALL = np.ones(481, dtype=np.bool_)


def test_a_sharp_turn_is_sure_and_a_flat_one_is_not() -> None:
    sharp = turning(T, -((T - 0.4) ** 2) * 50.0, ALL, 1, 0.01, "x")
    flat = turning(T, -((T - 0.4) ** 2) * 0.5, ALL, 1, 0.01, "x")
    assert sharp is not None
    assert flat is not None
    assert sharp.time_s == pytest.approx(0.4, abs=0.003)
    assert flat.time_s == pytest.approx(0.4, abs=0.003)
    # within noise for +-sqrt(0.01 / 50) and +-sqrt(0.01 / 0.5)
    assert sharp.sd_s == pytest.approx(0.0141 / np.sqrt(3), rel=0.3)
    assert flat.sd_s == pytest.approx(0.141 / np.sqrt(3), rel=0.1)
    assert turning(T, T, ~ALL, 1, 0.1, "x") is None


def test_tellings_weigh_by_their_variance() -> None:
    both = joined(Told(1.0, 0.01, "a"), Told(1.02, 0.02, "b"), None)
    assert both.time_s == pytest.approx(1.004)
    assert both.sd_s == pytest.approx(0.01 * np.sqrt(0.8), rel=1e-6)
    assert both.source == "a+b"


def test_tellings_that_disagree_widen_or_are_left() -> None:
    wide = joined(Told(1.0, 0.01, "a"), Told(1.03, 0.01, "b"))
    assert wide.sd_s == pytest.approx(0.01 / np.sqrt(2) * np.sqrt(4.5), rel=1e-6)
    alone = joined(Told(1.0, 0.01, "a"), Told(2.0, 0.01, "b"))
    assert (alone.time_s, alone.source) == (1.0, "a")
    assert alone.sd_s == pytest.approx(0.015)
    with pytest.raises(ValueError, match="nothing"):
        joined(None)


@pytest.mark.parametrize("fps", [18.0, 25.0, 60.0, 240.0])
def test_uncertainty_is_never_less_than_sampling_leaves(fps: float) -> None:
    table = EventErrors({("contact", "ball", 60.0): (0.0, 0.5, 0.95, 100)})
    for errors in (table, NO_EVENT_ERRORS):
        _, sd, _ = errors.judged(EventName.CONTACT, "ball", fps, 1e-4)
        assert sd >= 1.0 / fps / np.sqrt(12.0) - 1e-12


def test_figures_of_another_rate_are_widened_and_trusted_less() -> None:
    table = EventErrors({("contact", "ball", 60.0): (0.002, 1.0, 0.95, 100)})
    bias, sd, confidence = table.judged(EventName.CONTACT, "ball+sound", 60.0, 0.01)
    assert (bias, sd, confidence) == (0.002, 0.01, 0.95)
    empty = NO_EVENT_ERRORS.judged(EventName.CONTACT, "ball", 60.0, 0.01)
    assert empty == (0.0, 0.01, WITHOUT)
    _, other, less = table.judged(EventName.CONTACT, "hand", 25.0, 0.012)
    assert less < confidence
    assert other >= 0.012
