"""Smoothing against scipy's Butterworth filter, the rule for two passes and known signals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from workers.pose.smooth import (
    FEWEST,
    TWO_PASS,
    candidates,
    intervals,
    low_pass,
    residual_cut_off,
    smooth_tracks,
)


def test_two_pass_constant() -> None:
    """The correction for n = 2 passes, (2^(1/n) - 1)^(1/4), to the published 0.802."""
    assert pytest.approx(0.80224, abs=5e-6) == TWO_PASS


@pytest.mark.parametrize("frequency", [1.0, 3.0, 6.0, 9.0, 15.0])
@pytest.mark.parametrize("cut_off", [4.0, 6.0, 10.0])
def test_gain_is_that_of_the_two_pass_butterworth(frequency: float, cut_off: float) -> None:
    """Reference: scipy.signal.butter + filtfilt with each pass designed at fc / 0.80224.

    At 240 Hz, where the bilinear transform's warping is small, both must have the same gain.
    """
    rate = 240.0
    t = np.arange(0, 8, 1 / rate)
    x = np.sin(2 * np.pi * frequency * t)
    b, a = signal.butter(2, cut_off / TWO_PASS, fs=rate)
    expected = signal.filtfilt(b, a, x)
    middle = slice(len(t) // 4, 3 * len(t) // 4)
    np.testing.assert_allclose(low_pass(t, x, cut_off)[middle], expected[middle], atol=0.012)


def test_step_response_is_close_to_that_of_filtfilt() -> None:
    rate = 120.0
    t = np.arange(0, 4, 1 / rate)
    x = (t > 2).astype(float)
    b, a = signal.butter(2, 6 / TWO_PASS, fs=rate)
    np.testing.assert_allclose(low_pass(t, x, 6.0), signal.filtfilt(b, a, x), atol=0.02)


def test_gain_at_the_cut_off_is_minus_3_db() -> None:
    t = np.arange(0, 10, 1 / 120)
    y = low_pass(t, np.sin(2 * np.pi * 6 * t), 6.0)
    assert np.abs(y[400:800]).max() == pytest.approx(np.sqrt(0.5), abs=0.01)


def test_irregular_time_gives_the_same_gain_and_no_lag() -> None:
    """Phone film: the frame interval jitters between 60 and 140 per cent."""
    rng = np.random.default_rng(5)
    t = np.cumsum(rng.uniform(0.6, 1.4, 1200) / 120)
    y = low_pass(t, np.sin(2 * np.pi * 3 * t), 6.0)
    inside = (t > 1) & (t < t[-1] - 1)
    basis = np.stack([np.sin(2 * np.pi * 3 * t), np.cos(2 * np.pi * 3 * t)], axis=1)[inside]
    (in_phase, out_of_phase), *_ = np.linalg.lstsq(basis, y[inside], rcond=None)
    expected = 1 / (1 + (3 / (6 / TWO_PASS)) ** 4)
    assert in_phase == pytest.approx(expected, abs=0.01)
    assert abs(np.degrees(np.arctan2(out_of_phase, in_phase))) < 0.5


def test_straight_motion_is_untouched_to_the_ends() -> None:
    t = np.sort(np.random.default_rng(6).uniform(0, 2, 90))
    x = 30 * t - 7
    np.testing.assert_allclose(low_pass(t, x, 3.0), x, atol=1e-6)


def test_intervals_of_a_gap_are_bounded() -> None:
    np.testing.assert_allclose(intervals(np.array([0, 1, 2, 9, 10.0])), [1, 1, 2, 2, 1])


def test_residual_analysis_on_the_textbook_shape() -> None:
    """A residual curve that is a straight noise line meeting a steep signal part at 6 Hz.

    The line 2 - 0.05 f continued to zero is 2.0; the residual crosses 2.0 at 4 Hz by
    construction.
    """
    f = np.arange(1.0, 21.0)
    residual = np.where(f < 6, 2.0 + (4.0 - f) * 0.85 / 2, 2 - 0.05 * f)
    assert residual_cut_off(f, residual) == pytest.approx(4.0, abs=0.01)


def test_residual_analysis_of_pure_noise_chooses_the_lowest() -> None:
    rng = np.random.default_rng(7)
    t = np.arange(0, 5, 1 / 60)
    x = rng.normal(0, 1, t.size)
    f = candidates(60.0)
    residual = np.array([np.sqrt(np.mean((x - low_pass(t, x, c)) ** 2)) for c in f])
    assert residual_cut_off(f, residual) < 2.5


@pytest.mark.parametrize("rate", [30.0, 60.0, 120.0])
def test_smoothing_brings_a_noisy_motion_nearer_to_the_truth(rate: float) -> None:
    """A swing-like pulse (half-width about 0.1 s) under white noise, any frame rate."""
    rng = np.random.default_rng(8)
    t = np.arange(0, 3, 1 / rate)
    clean = np.stack([200 * np.exp(-(((t - 1.5) / 0.12) ** 2)), 50 * np.tanh((t - 1.5) / 0.15)], 1)
    noisy = clean + rng.normal(0, 2.0, clean.shape)
    done = smooth_tracks(t, noisy[:, None, :])
    speed = np.gradient(clean, t, axis=0)
    raw_error = np.sqrt(np.mean((np.gradient(noisy, t, axis=0) - speed) ** 2))
    error = np.sqrt(np.mean((np.gradient(done.values[:, 0], t, axis=0) - speed) ** 2))
    assert error < 0.75 * raw_error
    assert ((done.cut_off_hz >= 3) & (done.cut_off_hz <= 12)).all()
    peak = np.abs(np.gradient(done.values[:, 0, 0], t)).max() / np.abs(speed[:, 0]).max()
    assert 0.9 < peak < 1.1


def test_faster_point_gets_the_higher_cut_off() -> None:
    rng = np.random.default_rng(9)
    t = np.arange(0, 4, 1 / 60)
    slow = np.sin(2 * np.pi * 0.5 * t)
    fast = np.sin(2 * np.pi * 4.0 * t)
    values = np.stack([slow, fast], 1)[:, :, None] * 100 + rng.normal(0, 1, (t.size, 2, 1))
    cut = smooth_tracks(t, values).cut_off_hz[:, 0]
    assert cut[1] > cut[0]
    raised = smooth_tracks(t, values, np.array([1.0, 1.4])).cut_off_hz[:, 0]
    assert raised[1] == pytest.approx(1.4 * cut[1], abs=0.6)


def test_unseen_frames_stay_unseen_and_do_not_spoil_the_rest() -> None:
    t = np.arange(0, 4, 1 / 60)
    values = np.stack([10 * t, 5 - 3 * t], 1)[:, None, :].repeat(3, axis=1)
    values[60:120] = np.nan
    done = smooth_tracks(t, values)
    assert np.isnan(done.values[60:120]).all()
    seen = np.isfinite(values)
    np.testing.assert_allclose(done.values[seen], values[seen], atol=1e-6)


def test_nobody_seen_or_too_few_frames() -> None:
    t = np.arange(20) / 30
    nobody = np.full((20, 2, 2), np.nan)
    assert np.isnan(smooth_tracks(t, nobody).values).all()
    few = nobody.copy()
    few[: FEWEST - 1] = 1.0
    done = smooth_tracks(t, few)
    np.testing.assert_array_equal(done.values, few)
    assert np.isnan(done.cut_off_hz).all()
