"""What is found in drawn pairs of films, right ones and wrong ones, against the truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from models.contract.note import Note
from models.training.events.dense import Dense
from models.training.views.pairs import (
    APART,
    CAMERA_AZIMUTH,
    Filmed,
    Pair,
    draw_pair,
    mixed,
    movements,
    repeated,
)
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.views.pairing import ViewPair, pair_views
from workers.engine.views.seen import SeenBody, seen_body

RIGHT = "one serve"
NEAR_DEG = 12.0
"""How far from the same or the opposite place the wrong pairs stand at most, degrees."""


@dataclass(frozen=True)
class Tried:
    """One pair of films: what it was, and what was made of it."""

    case: str
    pair: Pair
    found: ViewPair | Note

    @property
    def sync_ms(self) -> float:
        """Error of the offset, milliseconds."""
        assert isinstance(self.found, ViewPair)
        return 1e3 * (self.found.offset_s - self.pair.offset_s)

    @property
    def direction_deg(self) -> float:
        """Error of the angle between the cameras, degrees."""
        assert isinstance(self.found, ViewPair)
        off = self.found.apart_deg - self.pair.apart_deg
        return float((off + 180.0) % 360.0 - 180.0)


def marks(film: Filmed, dense: Dense, landmarks: LandmarkErrors) -> SeenBody:
    """Return the marks of a drawn film, standing height known."""
    return seen_body(film.track, landmarks, stature_m=dense.stature_m)


def cases(
    use: str, generator: str, seed: int, count: int, *, wrong: int
) -> Iterator[tuple[str, Pair]]:
    """Right pairs of a generator's serves, and wrong ones of the first of them."""
    serves = list(movements(use, generator, seed, count))
    for i, dense in enumerate(serves):
        rng = np.random.default_rng([seed, i])
        yield RIGHT, draw_pair(dense, rng)
        if i >= wrong:
            continue
        here = float(rng.uniform(*CAMERA_AZIMUTH))
        there = here + float(rng.uniform(*APART) * rng.choice([-1.0, 1.0]))
        near = float(rng.uniform(-NEAR_DEG, NEAR_DEG))
        yield "another player", mixed(dense, serves[(i + 1) % count], (here, there), rng)
        yield "the player's next serve", mixed(dense, repeated(dense, rng), (here, there), rng)
        yield "the same place", mixed(dense, dense, (here, here + near), rng)
        yield "opposite places", mixed(dense, dense, (here, here + 180.0 + near), rng)


def tried(case: str, pair: Pair, landmarks: LandmarkErrors) -> Tried:
    """Pair two drawn films."""
    one, two = (marks(film, pair.dense, landmarks) for film in (pair.one, pair.two))
    return Tried(case, pair, pair_views(one, two))
