"""Generators of movements that share no key postures; each is a module with one `generate`.

``generate(skeleton, rng, kind) -> Performance`` needs numpy and scipy only; the same state of the
random generator gives the same movement.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from models.training.rendered.performance import Performance
from models.training.rendered.skeleton import Skeleton

from . import activities, bumps, everyday, force_driven, minimum_jerk, template
from .activities import ACTIVITIES


class Generate(Protocol):
    """What every generator offers."""

    def __call__(self, skeleton: Skeleton, rng: np.random.Generator, kind: str) -> Performance:
        """A performance of the kind."""


GENERATORS: dict[str, Generate] = {
    "template": template.generate,
    "minimum_jerk": minimum_jerk.generate,
    "bumps": bumps.generate,
    "force_driven": force_driven.generate,
    "everyday": everyday.generate,
}
"""Every generator by name."""

USES: dict[str, tuple[str, ...]] = {
    "train": ("minimum_jerk", "bumps", "everyday"),
    "calibrate": ("template",),
    "report": ("force_driven",),
}
"""Which generators serve which use; no generator serves two, so that a report is out of sample in
the way of moving too. Seeds differ by use as well (`draw`)."""

KINDS: dict[str, float] = {"serve": 0.66, "hold": 0.10, "shadow": 0.09, "throw": 0.07}
"""Shares of the kinds in a mixed set; the rest are activities that are no serve."""


def draw_kind(rng: np.random.Generator) -> str:
    """A kind of a mixed set."""
    weights = np.array([*KINDS.values(), 1.0 - sum(KINDS.values())])
    kind = [*KINDS, "other"][int(rng.choice(len(weights), p=weights))]
    return str(rng.choice(ACTIVITIES)) if kind == "other" else kind


def generate(
    generator: str, skeleton: Skeleton, rng: np.random.Generator, kind: str
) -> Performance:
    """A performance of a kind by a generator; activities that are no serve are the same for all."""
    if kind in ACTIVITIES:
        return activities.generate(skeleton, rng, kind)
    return GENERATORS[generator](skeleton, rng, kind)


def random_of(use: str, seed: int, index: int) -> np.random.Generator:
    """The random generator of one movement: disjoint between uses whatever the seeds."""
    return np.random.default_rng([sorted(USES).index(use), seed, index])
