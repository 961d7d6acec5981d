"""Differences beside the true ones, by hand."""

from __future__ import annotations

from models.training.rendered.full_size import Change, table


def test_slope_error_and_interval_of_a_metric() -> None:
    """Half of each difference is told: slope 0.5; the interval of 3 holds errors up to 3."""
    true = [float(step) for step in range(-6, 7)]
    found = [Change("front_knee_flexion@trophy", x / 2, x / 2 - 3.0, x / 2 + 3.0, x) for x in true]
    rows = table([*found, Change("few", 1.0, 0.0, 2.0, 1.0)]).splitlines()
    assert len(rows) == 4  # a metric of few differences has no row of its own
    assert rows[2].split(" | ")[3:] == ["0.50", "1.00", "1.62", "100% |"]
    # 3.7 degrees in the mean are more than half of the tolerance of 6
    assert rows[3].startswith("| the 1 that moved, in units of the true spread | 13 | 1 | 0.50 |")
    assert rows[3].endswith("| 100% of all 14 |")


def test_what_hardly_moved_is_not_pooled() -> None:
    """Steps of 0.1 degrees, errors of 2: its slope says nothing."""
    found = [
        Change("front_knee_flexion@trophy", (-1.0) ** n * 2.0, -5.0, 5.0, 0.1 * n)
        for n in range(20)
    ]
    assert len(table(found).splitlines()) == 3


def test_nothing_is_an_empty_table() -> None:
    assert len(table([]).splitlines()) == 2
