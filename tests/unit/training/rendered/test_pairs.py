"""Pairs with known truth, measured with the noise of motion capture: the first six knobs.

Aims: the knob's own metric is ``changed`` and nothing that did not truly move in at least 90 % of
pairs, and nothing is ``changed`` between two measurements of one serve in at least 95 %. Six pairs
cannot tell 90 % from 95 %; the command ``python -m models.training.rendered.pairs --count 36`` can,
and the developers' page holds its figures.
"""

from __future__ import annotations

import pytest

from models.training.rendered.pairs import Tally, run, shared_error

NEAREST = (
    ("elbow_flexion", "contact"),
    ("elbow_flexion", "trophy"),
    ("shoulder_line_tilt", "contact"),
    ("shoulder_line_tilt", "trophy"),
    ("rear_foot_load_share", "loading"),
    ("hip_shoulder_separation", "trophy"),
)
"""The metric that names what the knob turns."""
PAIRS = len(NEAREST)


@pytest.fixture(scope="module")
def tally() -> Tally:
    return run(PAIRS, seed=1, noise="joints")


def test_metric_of_the_knob_is_found_changed(tally: Tally) -> None:
    assert tally.pairs == PAIRS
    assert tally.own >= PAIRS - 1
    found = [key in changed for key, changed in zip(NEAREST, tally.changed, strict=True)]
    assert sum(found) >= PAIRS - 1


def test_what_did_not_truly_move_is_not_called_changed(tally: Tally) -> None:
    assert tally.none_false >= PAIRS - 1


def test_changes_that_are_called_detectable_are_seen(tally: Tally) -> None:
    """The promise is nine of ten at the very least such change; most are larger."""
    assert tally.clear >= 2 * PAIRS
    assert tally.clear_seen >= 0.9 * tally.clear


def test_one_serve_measured_twice_has_not_changed(tally: Tally) -> None:
    assert tally.same_quiet >= tally.same - 1


def test_shared_error_is_the_correlation_of_errors() -> None:
    both = {"a": [(float(i), float(i) + 0.5) for i in range(12)]}
    other = {"b": [(float(i), -float(i)) for i in range(12)]}
    assert shared_error({"few": [(1.0, 2.0)]}) is None
    found = shared_error(both | other)
    assert found is not None
    assert found["metrics"] == 2
    assert found["median"] == pytest.approx(0.0)
