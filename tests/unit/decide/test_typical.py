"""The typical one of several repetitions, and which of them differs. Values are drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.contract.analysis import Repetition
from models.contract.vocabulary import RepetitionKind
from models.words import english
from tests.unit.decide.builders import metric, repetition
from workers.decide.typical import typical_of
from workers.report.typical_part import typical_lines, typical_table

KEYS = ("front_knee_flexion", "rear_knee_flexion", "shoulder_tilt", "pelvis_turn", "trunk_lean")
KEYS += ("elbow_flexion", "shoulder_turn", "hip_shoulder_separation", "tossing_arm_elevation")


def serves(values: np.ndarray, known: bool = True) -> list[Repetition]:
    """Repetitions by rows, metrics by columns; measuring alone scatters by one degree."""

    def of(key: str, value: float):
        made = metric(key, float(value), half=4.0)
        extra = {"repeat_sd": np.hypot(1.0, 1.5), "session_sd": 1.5} if known else {}
        return made.model_copy(update=extra)

    return [repetition(*(of(k, v) for k, v in zip(KEYS, row, strict=True))) for row in values]


def test_one_repetition_or_none_has_nothing_typical() -> None:
    assert typical_of([]) is None
    assert typical_of(serves(np.full((1, 9), 50.0))) is None
    mixed = [repetition(metric("shoulder_tilt", 5.0)), repetition(kind=RepetitionKind.HOLD)]
    assert typical_of(mixed) is None


def test_the_middle_one_is_the_most_typical() -> None:
    values = np.array([[50.0], [70.0], [58.0], [57.0]]) + np.arange(9)
    found = typical_of(serves(values))
    assert found is not None
    assert found.most_typical in (3, 4)
    assert found.values[0].value == pytest.approx(57.5)
    assert found.numbers == (1, 2, 3, 4)


def test_one_odd_serve_is_named_and_moves_the_typical_values_little() -> None:
    values = 50.0 + np.random.default_rng(3).normal(0.0, 1.2, (5, 9))
    without = typical_of(serves(values))
    values[3, :2] += 25.0
    found = typical_of(serves(values))
    assert found is not None
    assert without is not None
    assert {(one.repetition, one.key) for one in found.differing} == {(4, KEYS[0]), (4, KEYS[1])}
    assert abs(found.values[0].value - without.values[0].value) < 2.0
    assert found.most_typical != 4
    said = typical_lines(found, english())
    assert any("Serve 4 differs" in line for line in said)


def test_nobody_differs_by_chance_more_often_than_stated() -> None:
    """At most 5 in 100 films name anybody where serves differ by chance only."""
    rng = np.random.default_rng(11)
    named = 0
    for _ in range(200):
        found = typical_of(serves(50.0 + rng.normal(0.0, 1.5, (int(rng.integers(3, 8)), 9))))
        assert found is not None
        named += bool(found.differing)
    assert named <= 0.05 * 200 + 2 * np.sqrt(0.05 * 0.95 * 200)


@pytest.mark.parametrize("known", [True, False])
def test_two_serves_differ_from_each_other_not_from_the_others(known: bool) -> None:
    found = typical_of(serves(np.array([[20.0] * 9, [60.0] * 9]), known))
    assert found is not None
    assert found.differing == ()
    assert "three repetitions" in " ".join(typical_lines(found, english()))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 6), st.booleans())
def test_intervals_hold_the_value_and_lie_within_what_was_measured(
    seed: int, count: int, known: bool
) -> None:
    values = np.random.default_rng(seed).normal(40.0, 10.0, (count, 9))
    found = typical_of(serves(values, known))
    assert found is not None
    for column, value in enumerate(found.values):
        assert value.low <= value.value <= value.high
        assert value.low >= values[:, column].min() - 4.0 - 1e-9
        assert value.high <= values[:, column].max() + 4.0 + 1e-9
        assert value.repetitions == count


def test_the_order_of_the_serves_does_not_matter() -> None:
    values = 50.0 + np.random.default_rng(5).normal(0.0, 2.0, (4, 9))
    values[1, 2] += 40.0
    order = [2, 0, 3, 1]
    first, second = typical_of(serves(values)), typical_of(serves(values[order]))
    assert first is not None
    assert second is not None
    assert first.values == second.values
    assert order[second.most_typical - 1] == first.most_typical - 1
    assert {order[one.repetition - 1] for one in second.differing} == {1}


def test_yes_and_no_are_no_typical_values_and_the_table_shows_the_rest() -> None:
    rows = [
        repetition(
            metric("shoulder_tilt", 10.0 + n),
            metric("sequence_proximal_to_distal", 1.0, half=0.0, unit="1", event=None),
        )
        for n in range(3)
    ]
    found = typical_of(rows)
    assert found is not None
    assert [value.key for value in found.values] == ["shoulder_tilt"]
    table = typical_table(found, english())
    assert len(table.columns) == 4
    assert table.groups[0].rows[0].cells[0].text.startswith("11")
