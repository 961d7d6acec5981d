"""From the uncertainty of joints and event times to the 95 % interval of a metric.

Seeded Monte Carlo: the metric is computed on samples of the body (drawn from the fit's own
posterior, or as correlated noise from its standard deviations) with event times drawn from
theirs. A calibrated term for the view, measured on rendered films, is added in quadrature; it
covers what the model of the body cannot know about itself.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from typing import TypeVar

import numpy as np

from models.contract.interval import Z95
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import EventName, Sex
from workers.engine.events import Instant
from workers.engine.samples import Samples
from workers.engine.served import ServedBall

SAMPLES = 96
"""Monte Carlo samples of a repetition (working value, not tried systematically)."""
Body = TypeVar("Body")
JOINT_NOISE_TIME_S = 0.05
"""Correlation time of joint noise where only standard deviations are known."""


def draw_joints(motion: BodyMotion, count: int, seed: int) -> FloatArray:
    """Return joint paths with correlated Gaussian noise of the motion's sd, (S, T, 21, 3)."""
    generator = np.random.default_rng(seed)
    shape = (count, *motion.joints.shape)
    step = float(np.median(np.diff(motion.time_s)))
    keep = float(np.exp(-step / JOINT_NOISE_TIME_S))
    noise = generator.standard_normal(shape)
    noise[:, 1:] *= np.sqrt(1.0 - keep**2)
    for row in range(1, shape[1]):
        noise[:, row] += keep * noise[:, row - 1]
    noise *= motion.sd
    noise += motion.joints
    return noise


def cloud(
    motion: BodyMotion,
    joints: FloatArray,
    events: Mapping[EventName, Instant],
    *,
    sex: Sex,
    floor_z: float,
    stature_sd_m: float,
    seed: int,
    served: ServedBall | None = None,
) -> Samples:
    """Return the Monte Carlo samples of a repetition.

    Parameters
    ----------
    motion : BodyMotion
    joints : ndarray, shape (S, T, 21, 3)
        Sampled joint paths.
    events : mapping of EventName to Instant
    sex : Sex
    floor_z : float
    stature_sd_m : float
        Scales the whole body of each sample: metric scale follows standing height.
    seed : int
    served : ServedBall, optional
        The served ball, whose scale follows the body's.
    """
    generator = np.random.default_rng([seed, 1])
    count = joints.shape[0]
    factor = 1.0 + generator.standard_normal(count) * (stature_sd_m / motion.stature_m)
    factor = np.clip(factor, 0.8, 1.2)
    times = {
        event: np.clip(
            instant.time_s + instant.sd_s * generator.standard_normal(count),
            motion.time_s[0],
            motion.time_s[-1],
        )
        for event, instant in events.items()
    }
    return Samples(
        time_s=motion.time_s,
        joints=joints * factor[:, None, None, None],
        events=times,
        stature_m=motion.stature_m * factor,
        sex=sex,
        floor_z=floor_z,
        served=None if served is None else factor * served.draw(count, seed),
    )


def best(
    motion: BodyMotion,
    events: Mapping[EventName, Instant],
    *,
    sex: Sex,
    floor_z: float,
    served: ServedBall | None = None,
) -> Samples:
    """Return the best estimate as a single sample."""
    return Samples(
        time_s=motion.time_s,
        joints=motion.joints[None],
        events={event: np.array([instant.time_s]) for event, instant in events.items()},
        stature_m=np.array([motion.stature_m]),
        sex=sex,
        floor_z=floor_z,
        served=None if served is None else np.array([served.speed]),
    )


def value_and_spread(
    formula: Callable[[Body], FloatArray], estimate: Body, samples: Body
) -> tuple[float, float]:
    """Return a quantity's best value and the spread of its samples, as a standard deviation.

    The spread is half the central 95 % range over 1.96, about the median; NaN where fewer than
    three quarters of the samples give a value. ``formula`` is the quantity's own on bodies, or the
    one on direct answers.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        value = float(formula(estimate)[0])
        spread = np.asarray(formula(samples), dtype=np.float64)
    known = spread[np.isfinite(spread)]
    if known.size < 0.75 * spread.size:
        return value, float("nan")
    low, high = np.percentile(known, [2.5, 97.5])
    return value, float((high - low) / (2.0 * Z95))
