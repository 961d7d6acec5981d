"""People at random, from juniors to tall adults, slim to heavy."""

from __future__ import annotations

import numpy as np

from .limb_lengths import LIMBS
from .rest_body import rest_body

#: stature, mean and spread in metres (adults: about those of European surveys, common practice, no
#: source; juniors evenly over the range of growth), and the range drawn from
_MEN, _WOMEN, _JUNIORS = (1.80, 0.08, 1.55, 2.08), (1.68, 0.075, 1.48, 1.95), (1.25, 1.65)
_JUNIOR_SHARE = 0.25
_LIMB_SD, _LIMB_MOST = 0.03, 0.08
"""Spread of a limb segment's share of stature between people (working values, as
`skeleton.sample_skeleton`)."""


def anyone(rng: np.random.Generator) -> dict[str, float]:
    """The phenotype of a person of a drawn stature, 1.25 to 2.08 m, with limbs of own lengths."""
    female = bool(rng.random() < 0.45)
    junior = bool(rng.random() < _JUNIOR_SHARE)
    if junior:
        wanted = float(rng.uniform(*_JUNIORS))
        age = float(np.interp(wanted, _JUNIORS, (0.36, 0.52)) + rng.uniform(-0.02, 0.02))
    else:
        mean, sd, low, high = _WOMEN if female else _MEN
        wanted = float(np.clip(rng.normal(mean, sd), low, high))
        age = float(rng.uniform(0.58, 0.8))
    phenotype = {
        "gender": float(rng.uniform(0.85, 1.0) if female else rng.uniform(0.0, 0.15)),
        "age": age,
        "muscle": float(rng.uniform(0.3, 0.85)),
        "weight": float(rng.uniform(0.2, 0.6) if rng.random() < 0.7 else rng.uniform(0.6, 0.9)),
        "height": 0.5,
        "proportions": float(rng.uniform(0.25, 0.75)),
    }
    phenotype["height"] = _height_for(phenotype, wanted)
    spread = np.clip(rng.normal(1.0, _LIMB_SD, len(LIMBS)), 1 - _LIMB_MOST, 1 + _LIMB_MOST)
    return phenotype | {name: float(k) for name, k in zip(LIMBS, spread, strict=True)}


def _height_for(phenotype: dict[str, float], wanted: float) -> float:
    """The mesh's height entry that gives a stature, metres; its range ends at 0.02 and 0.98."""
    low, high = 0.02, 0.98
    for _ in range(7):
        middle = 0.5 * (low + high)
        tall = float(np.ptp(rest_body(phenotype | {"height": middle})[0][:, 2]))
        low, high = (middle, high) if tall < wanted else (low, middle)
    return 0.5 * (low + high)
