from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as hs
from scipy import special, stats

from workers.decide import statistics as st
from workers.decide.scatter import Prior, moderated, prior_of, trigamma_inverse


@given(hs.floats(1e-3, 1e3))
def test_trigamma_inverse_against_scipy(x: float) -> None:
    assert trigamma_inverse(float(special.polygamma(1, x))) == pytest.approx(x, rel=1e-6)


def test_trigamma_is_positive() -> None:
    with pytest.raises(ValueError, match="positive"):
        trigamma_inverse(0.0)


@pytest.mark.parametrize(("true_dof", "dof"), [(3.0, 6), (10.0, 6), (5.0, 2)])
def test_degrees_of_freedom_are_found_again(true_dof: float, dof: int) -> None:
    """Sample over foretold variance follows F(dof, true_dof): reference scipy.stats.f."""
    draws = stats.f(dof, true_dof).rvs(40_000, random_state=5)
    found = prior_of(list(draws), [dof] * len(draws))
    assert found is not None
    assert found.dof == pytest.approx(true_dof, rel=0.1)
    assert found.dof < true_dof * 1.02  # on the cautious side


def test_the_factor_is_how_much_the_player_adds() -> None:
    """Chi-square draws about 2.5 times the variance by measurement."""
    draws = 2.5 * stats.chi2(6).rvs(20_000, random_state=6) / 6
    found = prior_of(list(draws), [6] * len(draws))
    assert found is not None
    assert found.factor == pytest.approx(2.5, rel=0.02)


def test_scatter_is_never_foretold_below_that_of_measurement() -> None:
    found = prior_of([0.1] * 20, [3] * 20)
    assert found is not None
    assert found.factor == 1.0
    assert moderated(0.0, 3, 4.0, found)[0] == 4.0


def test_few_metrics_say_nothing_of_a_player() -> None:
    assert prior_of([1.0] * 7, [3] * 7) is None
    with pytest.raises(ValueError, match="degrees of freedom"):
        prior_of([1.0], [])


def test_moderated_variance_worked_by_hand() -> None:
    # (4 * 1.5 * 2 + 6 * 5) / (4 + 6) = 42 / 10
    assert moderated(5.0, 6, 2.0, Prior(factor=1.5, dof=4.0)) == (pytest.approx(4.2), 10.0)


def _group(values: np.ndarray, session: float, serve: float) -> st.GroupMean:
    both = math.hypot(session, serve)
    wide = 5.0 * both
    rows = [float(v) for v in values]
    return st.group_mean(
        rows,
        [v - wide for v in rows],
        [v + wide for v in rows],
        [both] * len(rows),
        [session] * len(rows),
    )


def test_single_serves_differ_by_all_of_the_repeat_error() -> None:
    one = _group(np.array([0.0]), 3.0, 4.0)
    assert st.difference(one, one, one_place=True).standard_error == pytest.approx(
        5.0 * math.sqrt(2)
    )


def test_single_serves_are_judged_by_heavier_tails() -> None:
    """Reference: scipy.stats.t; Student with 4 degrees of freedom, not a normal error."""
    one, two = (_group(np.array([x]), 3.0, 4.0) for x in (0.0, 20.0))
    found = st.difference(one, two, one_place=True)
    assert found.mdc95 == pytest.approx(stats.t.ppf(0.975, 4) * 5.0 * math.sqrt(2))
    assert found.p_value == pytest.approx(2 * stats.t.sf(20 / (5 * math.sqrt(2)), 4))


def test_what_differs_from_serve_to_serve_shrinks_with_their_count() -> None:
    """Serves that scatter exactly as measurement alone: sqrt(2 (3^2 + 4^2 / 4))."""
    values = np.array([-1.0, 1.0, -1.0, 1.0]) * 4.0 * math.sqrt(3.0 / 4.0)
    one = _group(values, 3.0, 4.0)
    assert one.spread == pytest.approx(4.0)
    found = st.difference(one, one, one_place=True)
    assert found.standard_error == pytest.approx(math.sqrt(2 * (9 + 4)))
    assert st.standard_error(one, one_place=True) == pytest.approx(math.sqrt(13))


@pytest.mark.parametrize("serves", [(2, 2), (4, 4)])
def test_false_alarms_stay_rare_and_changes_are_found_more_often(serves: tuple[int, int]) -> None:
    """Forty metrics of one body (six common causes) of a player whose scatter differs from metric
    to metric: any false alarm in at most 5 % of comparisons, and a true step is found more often
    than by each metric's own scatter.
    """
    rng = np.random.default_rng(17)
    alarms, found, found_alone, runs = 0, 0, 0, 150
    for _ in range(runs):
        loads = rng.normal(size=(40, 6))
        loads /= np.linalg.norm(loads, axis=1, keepdims=True)
        scatter = np.maximum(1.3 * np.exp(rng.normal(0, 0.4, 40)), 1.0)
        sides = []
        for count in serves:
            common = rng.normal(size=(count, 6)) @ loads.T
            own = rng.normal(size=(count, 40))
            mixed = scatter * math.sqrt(0.5) * (common + own)
            sides.append(mixed + 0.7 * rng.normal(size=40))
        sides[1][:, 0] += 6.0
        pairs = [
            (_group(sides[0][:, i], 0.7, 1.0), _group(sides[1][:, i], 0.7, 1.0)) for i in range(40)
        ]
        prior = st.consistency(pairs)
        assert prior is not None
        p, alone = (
            st.holm([st.difference(*pair, one_place=True, prior=use).p_value for pair in pairs])
            for use in (prior, None)
        )
        alarms += min(p[1:]) < 0.05
        found += p[0] < 0.05
        found_alone += alone[0] < 0.05
    assert alarms / runs <= 0.05 + 1.96 * math.sqrt(0.05 * 0.95 / runs)
    assert found > found_alone
