"""Which films are made: two sets, one to find faults on, one to report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from models.training.rendered.camera import CameraSpec
from models.training.rendered.clips import ClipSpec
from models.training.rendered.profiles import VIEWS, draw_clip
from workers.engine.event_errors import RATES

AFTER_S = 0.35
"""Filmed after the finish, seconds."""
SIZES = ((960, 540), (1280, 720), (540, 960))
"""Pictures, by turns: a ball of a server who fills them has 8 to 20 pixels."""
OPEN = (0.08, 0.6)
"""Shutter, share of the frame interval: bright sun and overcast (working values)."""


@dataclass(frozen=True)
class FilmSet:
    """A set: the generators its films take turns of, with the profile that draws the rest.

    Seeds differ from those of every other set of the project.
    """

    name: str
    seed: int
    generators: tuple[tuple[str, str], ...]
    rates: tuple[float, ...]


SETS = {
    "tune": FilmSet(
        "tune",
        4101,
        (
            ("minimum_jerk", "moves_train"),
            ("bumps", "moves_train"),
            ("template", "moves_calibrate"),
        ),
        (60.0, 120.0, 30.0, 240.0, 25.0),
    ),
    "report": FilmSet(
        "report",
        4501,
        (
            ("force_driven", "moves_report"),
            ("minimum_jerk", "moves_train"),
            ("force_driven", "moves_report"),
            ("template", "moves_calibrate"),
        ),
        (60.0, 120.0, 30.0, 240.0, 25.0),
    ),
}
"""Rates come by turns, and their number shares no factor with that of the generators."""
SHIFT = 12
"""Films after which camera places shift against generators: a multiple of both their numbers."""
UNSEEN = "force_driven"
"""The generator that nothing was trained, calibrated or tuned on."""
assert all(set(RATES) <= set(one.rates) for one in SETS.values())


def films(name: str, count: int) -> Iterator[tuple[ClipSpec, np.random.Generator, str]]:
    """Yield the first films of a set: what is filmed, the random generator of the body, and the
    profile that drew it.

    Camera places come by turns that shift, so that each comes up with every rate and generator.
    """
    chosen = SETS[name]
    views = sorted(VIEWS)
    for index in range(count):
        generator, profile = chosen.generators[index % len(chosen.generators)]
        spec, rng = draw_clip(profile, chosen.seed, index)
        fps = chosen.rates[index % len(chosen.rates)]
        view = views[(index + index // SHIFT) % len(views)]
        yield (
            replace(
                spec,
                name=f"{index:03d}",
                kind="serve",
                generator=generator,
                fps=fps,
                size=SIZES[int(rng.integers(len(SIZES)))],
                camera=_placed(spec.camera, view, rng),
                shutter=float(rng.uniform(*OPEN)) / fps,
                after_finish=AFTER_S,
            ),
            rng,
            profile,
        )


def _placed(camera: CameraSpec, view: str, rng: np.random.Generator) -> CameraSpec:
    low, high = VIEWS[view]
    return replace(camera, azimuth=float(rng.uniform(low, high)) % 360.0)


def with_sound(index: int) -> bool:
    """Whether a film of a set has a sound track: every other one, in pairs, so that all generators
    have some.
    """
    return index // 2 % 2 == 0
