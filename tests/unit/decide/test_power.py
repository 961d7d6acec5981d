"""How large a change must be so that nine of ten comparisons see it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as hs
from scipy import stats

from workers.decide.power import detectable
from workers.decide.statistics import Difference, GroupMean, difference


def _difference(se: float, dof: float = math.inf, shown: float = 1.0) -> Difference:
    return Difference(
        value=0.0,
        standard_error=se,
        degrees_of_freedom=dof,
        low=-1.0,
        high=1.0,
        p_value=1.0,
        typical_error=se,
        mdc95=2.0 * se,
        shown=shown,
    )


def test_the_textbook_sum_of_two_normal_quantiles() -> None:
    """(z 0.975 + z 0.90) standard errors, as for the size of a two-sided z test with power 0.90:
    1.960 + 1.282 = 3.242 (common to textbooks, from memory)."""
    assert detectable(_difference(2.0), 0.05) == pytest.approx(2 * 3.2415, abs=1e-3)


@pytest.mark.parametrize("dof", [6.0, 12.0, 60.0])
def test_the_power_of_a_ratio_with_an_estimated_error(dof: float) -> None:
    """Simulated: normal values over standard errors whose variances are chi-square."""
    change = detectable(_difference(1.0, dof), 0.01)
    critical = stats.t.isf(0.005, dof)
    rng = np.random.default_rng(9)
    values = change + rng.standard_normal(400_000)
    ratios = values / np.sqrt(rng.chisquare(dof, 400_000) / dof)
    assert float(np.mean(ratios > critical)) == pytest.approx(0.90, abs=0.01)


def test_a_change_that_films_hide_half_of_must_be_twice_as_large() -> None:
    def least(shown: float) -> float:
        group = GroupMean(5.0, 4, 3.0, 4.0, 3.0, 1.0, shown, shown)
        return detectable(difference(group, group, one_place=True), 0.01)

    assert least(0.5) == pytest.approx(2 * least(1.0))


def test_nine_of_ten_simulated_films_show_it() -> None:
    """Shares drawn log-normal around 0.7, 97.5 % of them above 0.4; normal errors."""
    change = detectable(_difference(3.0 / 0.7, math.inf, 0.4 / 0.7), 0.02)
    rng = np.random.default_rng(8)
    shares = 0.7 * np.exp(math.log(0.7 / 0.4) / 1.96 * rng.standard_normal(400_000))
    found = change * shares + 3.0 * rng.standard_normal(400_000)
    seen = float(np.mean(found > 3.0 * stats.norm.isf(0.01)))
    assert seen == pytest.approx(0.90, abs=0.002)


def test_without_any_error_every_change_is_seen() -> None:
    assert detectable(_difference(0.0), 0.05) == 0.0


@pytest.mark.parametrize("risk", [0.0, 1.0, -0.1])
def test_a_risk_is_a_share(risk: float) -> None:
    with pytest.raises(ValueError, match="risk"):
        detectable(_difference(1.0), risk)


@given(hs.floats(0.01, 50.0), hs.floats(3.0, 200.0), hs.floats(0.2, 1.0), hs.floats(1e-4, 0.05))
def test_never_below_the_least_change_that_is_not_noise(
    se: float, dof: float, share: float, risk: float
) -> None:
    found = detectable(_difference(se / share, dof), risk)
    assert found > float(stats.t.isf(risk / 2, dof)) * se / share
    assert found > detectable(_difference(se, dof), min(2 * risk, 0.1)) * 0.999


def test_more_serves_make_smaller_changes_detectable() -> None:
    def least(count: int) -> float:
        group = GroupMean(50.0, count, 3.0, 4.0, repeat=3.0, session=1.0)
        return detectable(difference(group, group, one_place=True), 0.01)

    assert least(8) < least(4) < least(2)
