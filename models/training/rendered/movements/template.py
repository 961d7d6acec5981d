"""The template: key postures of one way of serving with solved knobs (`serve_postures`)."""

from __future__ import annotations

import numpy as np

from models.training.rendered.knobs import sample_knobs
from models.training.rendered.performance import Performance, perform
from models.training.rendered.skeleton import Skeleton


def generate(skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
    """A serve, shadow, throw, hold or another activity of `performance.OTHER`."""
    knobs = sample_knobs(rng)
    return perform(
        kind,
        skeleton,
        knobs.changed(tempo=min(knobs.tempo, 1.2)) if kind == "serve" else knobs,
        start=float(rng.uniform(0.3, 0.6)),
        hold=float(rng.uniform(1.5, 4.0)),
        slow=float(rng.uniform(1.6, 3.0)),
        throw_elevation=float(rng.uniform(15, 75)),
        seed=int(rng.integers(1 << 31)),
        left_handed=bool(rng.random() < 0.35),
    )
