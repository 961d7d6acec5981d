"""Statistics against published formulas, worked examples and scipy.

Worked examples: arithmetic from stated inputs (MDC95, retention score); each is repeated here in
full so that it can be redone by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as hs
from scipy import stats

from models.contract.interval import Z95
from workers.decide import statistics as st

values = hs.lists(hs.floats(-100, 100), min_size=3, max_size=12)


def test_retention_worked_example() -> None:
    # pre 40, post 52, ret 49: R = 9/12; s = 2: s_R = (2/12) sqrt(1 + 0.5625 + 0.0625) = 0.2125.
    score, se = st.retention_score(40, 52, 49, 2)
    assert score == pytest.approx(0.75)
    assert se == pytest.approx(0.2125, abs=1e-4)


def test_retention_error_against_simulation() -> None:
    rng = np.random.default_rng(3)
    pre, post, ret = (rng.normal(m, 0.4, 200_000) for m in (40, 52, 49))
    simulated = np.std((ret - pre) / (post - pre))
    assert st.retention_score(40, 52, 49, 0.4)[1] == pytest.approx(simulated, rel=0.02)


def test_retention_needs_a_gain() -> None:
    with pytest.raises(ValueError, match="no gain"):
        st.retention_score(40, 40, 45, 1)


@given(values, values)
def test_without_measurement_error_it_is_the_pooled_t_test(a: list[float], b: list[float]) -> None:
    """Reference: scipy.stats.ttest_ind with pooled variance."""
    if np.std(a) < 1e-3 or np.std(b) < 1e-3:
        return
    expected = stats.ttest_ind(b, a, equal_var=True)
    d = st.difference(st.group_mean(a, a, a), st.group_mean(b, b, b))
    assert d.p_value == pytest.approx(float(expected.pvalue), abs=1e-9)
    low, high = expected.confidence_interval(0.95)
    assert (d.low, d.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


def test_single_values_give_the_mdc_of_their_measurement_error() -> None:
    half = Z95 * 3.0
    one = st.group_mean([50], [50 - half], [50 + half])
    two = st.group_mean([57], [57 - half], [57 + half])
    d = st.difference(one, two)
    assert d.mdc95 == pytest.approx(8.316, abs=1e-3)
    assert d.typical_error == pytest.approx(3.0)


@given(hs.floats(0.1, 10), hs.floats(0, 0.95))
def test_a_shared_camera_place_narrows_the_difference(u: float, shared: float) -> None:
    half = Z95 * u
    one = st.group_mean([0], [-half], [half], [u * math.sqrt(1 - shared)])
    free = st.difference(one, one).standard_error
    assert st.difference(one, one, one_place=True).standard_error == pytest.approx(
        free * math.sqrt(1 - shared)
    )


def test_sessions_from_one_place_are_judged_by_heavier_tails() -> None:
    """Reference: scipy.stats.t; Student with 12 degrees of freedom."""
    one, two = (
        st.group_mean([x, x + 2], [x - 9, x - 7], [x + 9, x + 11], [2.0] * 2, [2.0] * 2)
        for x in (0.0, 10.0)
    )
    found = st.difference(one, two, one_place=True)
    assert found.degrees_of_freedom == 12
    ratio = found.value / found.standard_error
    assert found.p_value == pytest.approx(2 * stats.t.sf(ratio, 12))
    assert st.difference(one, two).degrees_of_freedom > 12


def test_the_interval_reaches_as_far_as_films_may_hide() -> None:
    """A step of 10 of which films show a half at least may truly be 20."""
    one, two = (
        st.group_mean([x], [x - 2], [x + 2], [1.0], [1.0], shown=[0.5]) for x in (0.0, 10.0)
    )
    half = float(stats.t.ppf(0.975, st.SESSIONS_DOF)) * math.sqrt(2)
    up, down = (st.difference(*pair, one_place=True) for pair in ((one, two), (two, one)))
    assert (up.low, up.high) == pytest.approx((10 - half, 10 + math.hypot(half, 10)))
    assert (down.low, down.high) == pytest.approx((-up.high, -up.low))
    assert up.mdc95 == pytest.approx(half)
    elsewhere = st.difference(one, two)
    assert elsewhere.high - 10 == pytest.approx(10 - elsewhere.low)


def test_what_films_usually_hide_is_undone_between_films_of_one_place() -> None:
    """Films that show half of a change: 10 seen are 20, with twice the error, as sure as before."""
    plain, half = (
        [st.group_mean([x], [x - 2], [x + 2], [1.0], [1.0], [share], [share]) for x in (40.0, 50.0)]
        for share in (1.0, 0.5)
    )
    seen, true = (st.difference(*pair, one_place=True) for pair in (plain, half))
    assert true.value == pytest.approx(20.0)
    assert (true.low, true.high) == pytest.approx((2 * seen.low, 2 * seen.high))
    assert true.mdc95 == pytest.approx(2 * seen.mdc95)
    assert true.p_value == pytest.approx(seen.p_value)
    assert st.difference(*half).value == pytest.approx(10.0)  # of different places: as seen


def test_simulated_changes_come_back_at_full_size() -> None:
    """True changes shrunk by 0.6 and blurred: slope 1 on the true ones, 95 % of them held."""
    rng = np.random.default_rng(4)
    true = rng.normal(0.0, 12.0, 4000)
    seen = 0.6 * true + rng.normal(0.0, 2.0 * 2**0.5, len(true))
    first = st.group_mean([0.0], [-8.0], [8.0], [2.0], [2.0], [0.6], [0.6])
    found = [
        st.difference(
            first, st.group_mean([x], [x - 8], [x + 8], [2.0], [2.0], [0.6], [0.6]), one_place=True
        )
        for x in seen
    ]
    values = np.array([d.value for d in found])
    assert np.polyfit(true, values, 1)[0] == pytest.approx(1.0, abs=0.02)
    held = [d.low <= t <= d.high for d, t in zip(found, true, strict=True)]
    assert 0.94 < np.mean(held) < 0.98


def test_without_a_known_repeat_error_one_place_changes_nothing() -> None:
    one = st.group_mean([0, 1], [-2, -1], [2, 3], [0.5, None])
    assert one.repeat is None
    assert st.difference(one, one, one_place=True) == st.difference(one, one)


def test_holm_worked_by_hand() -> None:
    # 0.005, 0.01, 0.03, 0.04 times 4, 3, 2, 1 -> 0.02, 0.03, 0.06, 0.06 (running maximum).
    assert st.holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])


def test_holm_with_weights_worked_by_hand() -> None:
    # p / w: 0.08, 0.02, 0.03 -> order 2nd, 3rd, 1st; 1 / 0.5 * 0.01, 0.5 / 0.25 * 0.0075, 0.02
    adjusted = st.holm([0.02, 0.01, 0.0075], [0.25, 0.5, 0.25])
    assert adjusted == pytest.approx([0.02, 0.02, 0.02])
    assert st.holm([0.04, 0.03], [0.5, 0.5]) == pytest.approx(st.holm([0.04, 0.03]))
    with pytest.raises(ValueError, match="positive weight"):
        st.holm([0.1], [0.0])


@given(hs.lists(hs.floats(0, 1), min_size=1, max_size=30))
def test_holm_never_lowers_and_keeps_the_order(p: list[float]) -> None:
    adjusted = st.holm(p)
    assert all(b >= a and b <= 1 for a, b in zip(p, adjusted, strict=True))
    ranked = [adjusted[i] for i in np.argsort(p, kind="stable")]
    assert ranked == sorted(ranked)


def test_false_alarms_stay_below_five_percent_of_families() -> None:
    """Holm bounds the chance of any false alarm among 20 metrics that did not change."""
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(400):
        p = []
        for _ in range(20):
            a, b = rng.normal(0, 3, 5), rng.normal(0, 3, 5)
            group_a, group_b = (st.group_mean(x, x, x) for x in (list(a), list(b)))
            p.append(st.difference(group_a, group_b).p_value)
        alarms += min(st.holm(p)) < 0.05
    assert alarms / 400 <= 0.05 + 1.96 * math.sqrt(0.05 * 0.95 / 400)


def test_share_p_value_of_a_published_table() -> None:
    """The tea experiment: 3 of 4 against 1 of 4 right gives 34/70 (from memory, 1935)."""
    found = st.share_p_value([1, 1, 1, 0], [1, 0, 0, 0])
    assert found == pytest.approx(34 / 70)
    assert st.share_p_value([1], [0]) == 1.0
    with pytest.raises(ValueError, match="at least one"):
        st.share_p_value([], [1])
