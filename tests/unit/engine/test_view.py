"""Names of camera positions, and their means."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.vocabulary import View
from workers.engine.view import estimate_view, mean_azimuth, view_of


@pytest.mark.parametrize(
    ("azimuth", "view"),
    [
        (0, View.FRONT),
        (15, View.FRONT),
        (16, View.FRONT_QUARTER),
        (72.5, View.SIDE),
        (90, View.SIDE),
        (108, View.SIDE),
        (109, View.REAR_QUARTER),
        (165.5, View.BEHIND),
        (190, View.BEHIND),
        (215, View.REAR_QUARTER),
        (270, View.BACK_SIDE),
        (300, View.FRONT_QUARTER),
        (-5, View.FRONT),
    ],
)
def test_names(azimuth: float, view: View) -> None:
    assert view_of(azimuth) is view


@given(st.floats(-720, 720))
def test_whole_turns_do_not_matter(azimuth: float) -> None:
    assert view_of(azimuth) is view_of((azimuth % 360.0) + 360.0)


def test_mean_goes_round_the_circle() -> None:
    mean, sd = mean_azimuth([(350.0, 5.0), (10.0, 5.0)])
    assert min(mean, 360 - mean) == pytest.approx(0.0, abs=1e-6)
    assert sd >= 5.0


def test_what_the_caller_says_wins() -> None:
    found = estimate_view([(90.0, 4.0)], View.REAR_QUARTER, None)
    assert (found.label, found.source) == (View.REAR_QUARTER, "given")
    exact = estimate_view([(90.0, 4.0)], View.UNKNOWN, 182.0)
    assert (exact.label, exact.azimuth_deg, exact.source) == (View.BEHIND, 182.0, "given")
    assert estimate_view([], View.UNKNOWN, None).label is View.UNKNOWN
