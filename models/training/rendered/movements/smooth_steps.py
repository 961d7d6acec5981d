"""Smooth building blocks over time: minimum-jerk steps, bumps, band-limited random paths."""

from __future__ import annotations

import numpy as np

from models.training.rendered.rotation import Array


def step(t: Array, begin: Array | float, end: Array | float) -> Array:
    """Minimum-jerk rise from 0 to 1 (J Neurosci 1985, 5(7):1688-1703): 10 s^3 - 15 s^4 + 6 s^5."""
    s = np.clip((t - begin) / np.maximum(np.subtract(end, begin), 1e-6), 0.0, 1.0)
    return np.asarray(s * s * s * (10.0 + s * (6.0 * s - 15.0)))


def bump(t: Array, begin: Array | float, end: Array | float) -> Array:
    """A hill of height 1 that is zero with two derivatives at both ends: (4 s (1 - s))^3."""
    s = np.clip((t - begin) / np.maximum(np.subtract(end, begin), 1e-6), 0.0, 1.0)
    return np.asarray((4.0 * s * (1.0 - s)) ** 3)


def wander(rng: np.random.Generator, t: Array, scale: Array, slow: float, fast: float) -> Array:
    """Random paths (C, T) of standard deviation `scale` (C,), frequencies `slow` to `fast` Hz."""
    waves = 5
    shape = (len(scale), waves, 1)
    rate = np.exp(rng.uniform(np.log(slow), np.log(fast), shape))
    weight = rng.rayleigh(1.0, shape) * rate**-0.5
    weight /= np.sqrt(0.5 * np.sum(weight**2, axis=1, keepdims=True))
    paths = np.sum(weight * np.sin(2 * np.pi * (rate * t + rng.random(shape))), axis=1)
    return np.asarray(scale[:, None] * paths)
