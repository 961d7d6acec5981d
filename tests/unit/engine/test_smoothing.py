"""Derivatives against polynomials; irregular times."""

from __future__ import annotations

import numpy as np
import pytest

from workers.engine.smoothing import local_fit


@pytest.mark.parametrize("jitter", [0.0, 0.006])
def test_local_fit_is_exact_for_parabolas(jitter: float) -> None:
    rng = np.random.default_rng(6)
    time = np.arange(90) / 60 + rng.uniform(-jitter, jitter, 90)
    coefficients = rng.normal(size=(3, 3))
    series = np.stack([np.polyval(c, time) for c in coefficients], axis=1)
    value, velocity, acceleration = local_fit(time, series, 0.05)
    assert value == pytest.approx(series, abs=1e-8)
    assert velocity == pytest.approx(
        np.stack([np.polyval(np.polyder(c), time) for c in coefficients], axis=1), abs=1e-6
    )
    assert acceleration == pytest.approx(np.broadcast_to(2 * coefficients[:, 0], (90, 3)), abs=1e-4)


def test_local_fit_reduces_noise() -> None:
    rng = np.random.default_rng(7)
    time = np.arange(200) / 120
    noise = rng.normal(0, 1, (200, 1))
    smooth = local_fit(time, noise, 0.06)[0]
    assert smooth[20:-20].std() < 0.75 * noise.std()
