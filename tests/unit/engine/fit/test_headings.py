"""Two headings of one target are joined on the circle, the surer one counting more."""

from __future__ import annotations

import numpy as np
import pytest

from workers.engine.fit.azimuth import joined


def test_the_surer_heading_counts_more() -> None:
    mean, sd = joined((0.10, 0.2), (0.0, 0.1))
    assert mean == pytest.approx(0.02, abs=1e-4)
    assert sd == pytest.approx(np.sqrt(0.04**2 + 0.08**2 + 2 * 0.5 * 0.04 * 0.08), abs=1e-3)


def test_equal_headings_join_across_the_cut_of_the_circle() -> None:
    mean, sd = joined((np.pi - 0.1, 0.1), (-np.pi + 0.1, 0.1))
    assert abs(mean) == pytest.approx(np.pi, abs=1e-9)
    # half of the error is common: sqrt((1 + 0.5) / 2) of one
    assert sd == pytest.approx(0.1 * np.sqrt(0.75))
