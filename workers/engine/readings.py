"""One repetition as every method reads it: bodies and direct answers, as best estimate and samples.

Metrics and judgements take their values and spreads from here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, FloatArray
from models.contract.vocabulary import EventName, Sex
from workers.engine.events import Instant
from workers.engine.heads import METHOD as HEADS_METHOD
from workers.engine.heads import HeadFormula, HeadPaths, HeadSamples, head_samples
from workers.engine.metrics.spec import Formula
from workers.engine.samples import Samples
from workers.engine.served import ServedBall
from workers.engine.uncertainty import SAMPLES, best, cloud, value_and_spread

FLOOR_UNDER_ANKLES = 0.045
"""Ankle joint centre over the floor in standing heights, where no heel or toe is seen."""


def floor_height(motion: BodyMotion) -> float:
    """Return the height of the floor in the court frame: under heels and toes at rest, metres."""
    names = (*CANONICAL_BODY.both("heel"), *CANONICAL_BODY.both("toe"))
    points = np.stack([motion.joint(name)[:, 2] for name in names])
    if np.isfinite(points).any():
        low = float(np.nanpercentile(np.nanmin(points, axis=0), 10))
        return low - 0.012 * motion.stature_m
    ankles = np.stack([motion.joint(name)[:, 2] for name in CANONICAL_BODY.both("ankle")])
    return float(np.percentile(ankles.min(axis=0), 10)) - FLOOR_UNDER_ANKLES * motion.stature_m


@dataclass(frozen=True, slots=True)
class BodyEstimate:
    """A body as one method sees it.

    ``sample(count, seed)`` draws joints from its uncertainty, shape (S, T, 21, 3).
    """

    motion: BodyMotion
    sample: Callable[[int, int], FloatArray]


@dataclass(frozen=True, slots=True)
class Readings:
    """A repetition by each method: the best estimate (S = 1), and samples.

    Attributes
    ----------
    bodies : mapping of str to (Samples, Samples)
        By method, the one to be trusted first in front.
    direct : (HeadSamples, HeadSamples), optional
        What the learned lift answers directly.
    """

    bodies: Mapping[str, tuple[Samples, Samples]]
    direct: tuple[HeadSamples, HeadSamples] | None = None

    def methods(self, head: HeadFormula | None) -> list[str]:
        """Return the methods that can tell a quantity; ``head`` is its formula on answers."""
        told = self.direct is not None and head is not None
        return [*self.bodies, HEADS_METHOD] if told else list(self.bodies)

    def tell(self, method: str, formula: Formula, head: HeadFormula | None) -> tuple[float, float]:
        """Return the value of a quantity by one of its methods, and its spread."""
        if method == HEADS_METHOD and self.direct is not None and head is not None:
            return value_and_spread(head, *self.direct)
        return value_and_spread(formula, *self.bodies[method])


def read(
    estimates: Sequence[BodyEstimate],
    events: Mapping[EventName, Instant],
    *,
    sex: Sex,
    stature_sd_m: float,
    seed: int,
    heads: HeadPaths | None = None,
    served: ServedBall | None = None,
) -> Readings:
    """Return a repetition as its methods read it.

    Parameters
    ----------
    estimates : sequence of BodyEstimate
        The same repetition by one or more methods, canonical court frame.
    events : mapping of EventName to Instant
    sex : Sex
    stature_sd_m : float
    seed : int
    heads : HeadPaths, optional
        What the learned lift answers directly, where there is one.
    served : ServedBall, optional
        The served ball, where it was followed.
    """
    bodies: dict[str, tuple[Samples, Samples]] = {}
    for estimate in estimates:
        motion = estimate.motion
        floor = floor_height(motion)
        joints = estimate.sample(SAMPLES, seed)
        bodies[motion.method] = (
            best(motion, events, sex=sex, floor_z=floor, served=served),
            cloud(
                motion,
                joints,
                events,
                sex=sex,
                floor_z=floor,
                stature_sd_m=stature_sd_m,
                seed=seed,
                served=served,
            ),
        )
    direct = None
    if heads is not None and bodies:
        one, many = next(iter(bodies.values()))
        drawn = heads.draw(many.count, seed)
        direct = head_samples(heads, one, heads.mean[None]), head_samples(heads, many, drawn)
    return Readings(bodies, direct)
