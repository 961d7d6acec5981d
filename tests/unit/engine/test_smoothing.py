"""Filter against scipy; derivatives against polynomials; irregular times."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, filtfilt, freqz

from workers.engine.smoothing import CORRECTION, local_fit, lowpass


def test_uniform_series_equals_scipy_filtfilt() -> None:
    # scipy.signal.filtfilt of the same second-order design, away from the padded ends
    rate, cutoff = 120.0, 8.0
    time = np.arange(480) / rate
    rng = np.random.default_rng(3)
    series = np.cumsum(rng.normal(size=(480, 2)), axis=0)
    warped = np.arctan(np.tan(np.pi * cutoff / rate) / CORRECTION) * rate / np.pi
    b, a = butter(2, warped, fs=rate)
    expected = filtfilt(b, a, series, axis=0)
    assert lowpass(time, series, cutoff)[90:-90] == pytest.approx(expected[90:-90], abs=1e-6)


@pytest.mark.parametrize("rate", [50.0, 60.0, 120.0, 240.0])
def test_two_passes_have_their_half_power_point_at_the_cutoff(rate: float) -> None:
    # scipy.signal.freqz: amplitude 1/sqrt 2 after both passes
    from workers.engine.smoothing import pass_cutoff

    b, a = butter(2, pass_cutoff(6.0, rate), fs=rate)
    _, response = freqz(b, a, worN=[6.0], fs=rate)
    assert abs(response[0]) ** 2 == pytest.approx(np.sqrt(0.5), abs=1e-9)


def test_irregular_times_are_filtered_on_their_own_clock() -> None:
    rng = np.random.default_rng(4)
    time = np.sort(np.arange(300) / 60 + rng.uniform(-0.004, 0.004, 300))
    slow = np.sin(2 * np.pi * 1.0 * time)
    fast = 0.5 * np.sin(2 * np.pi * 18.0 * time)
    filtered = lowpass(time, slow + fast, 6.0)
    assert filtered[30:-30] == pytest.approx(slow[30:-30], abs=0.05)


def test_above_the_frame_rates_reach_nothing_is_changed() -> None:
    time = np.arange(60) / 30
    series = np.random.default_rng(5).normal(size=60)
    assert lowpass(time, series, 14.5).tolist() == series.tolist()


def test_short_series_are_returned_as_they_are() -> None:
    time = np.arange(5) / 60
    series = np.array([1.0, 3.0, 2.0, 5.0, 4.0])
    assert lowpass(time, series, 6.0).tolist() == series.tolist()


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
