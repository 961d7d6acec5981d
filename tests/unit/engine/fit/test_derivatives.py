"""Every term's gradient against central differences of its own cost."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from models.training.rendered.bodies import simulated_track
from workers.engine.camera import LevelCamera
from workers.engine.fit import contact
from workers.engine.fit.initial import merge, start, stature_px
from workers.engine.fit.observations import SHARED, observe
from workers.engine.fit.phases import Phases
from workers.engine.fit.problem import FitProblem
from workers.engine.fit.state import FitState
from workers.engine.fit.terms import Accumulator
from workers.engine.proportions import LENGTHS, Proportions
from workers.learned import load

LEARNED = load().learned

TERMS = (
    "_landmarks",
    "_depths",
    "_feet",
    "_smoothness",
    "_shape",
    "_limits",
    "_balance",
    "_priors",
)


@pytest.fixture(scope="module")
def setting() -> tuple[FitProblem, FitState]:
    track = simulated_track("000")
    seen = observe(track, np.arange(20, 60, 2), False, 1.83, LEARNED.landmarks)
    proportions = Proportions.population()
    uv = merge(seen)
    phases = Phases.of(seen.time_s, uv)
    camera = LevelCamera(1300.0, (track.width / 2, track.height / 2), 0.02, 0.01)
    tall = stature_px(uv, dict(zip(LENGTHS, proportions.mean, strict=True)))
    problem = FitProblem(seen, proportions, 1.83, 1300.0, tall, phases)
    state = start(seen, proportions, 1.83, camera, phases)
    problem.settle_forward(state)
    problem.rest[:] = 1.0
    problem.still[:] = 1.0
    problem.settle_balance(state)
    problem.balanced[:] = 1.0
    return problem, state


@pytest.mark.parametrize("term", TERMS)
def test_gradient(term: str, setting: tuple[FitProblem, FitState]) -> None:
    problem, state = setting
    cost: Callable[[FitState, Accumulator | None], float] = getattr(problem, term)
    accumulator = Accumulator.about(state.vectors)
    cost(state, accumulator)
    system, basis = accumulator.equations(), accumulator.basis
    rng = np.random.default_rng(3)
    for shared_index in (None, *range(len(SHARED))):
        step = np.zeros(system.rhs.shape)
        shared = np.zeros(len(SHARED))
        if shared_index is None:
            step = rng.standard_normal(step.shape)
        else:
            shared[shared_index] = 1.0
        if term == "_depths" and shared_index == SHARED.index("pitch"):
            continue  # the camera's axis is held fixed there on purpose
        h = 1e-6
        numeric = (
            cost(state.moved(h * step, h * shared, basis), None)
            - cost(state.moved(-h * step, -h * shared, basis), None)
        ) / (2 * h)
        stated = -2.0 * (np.sum(system.rhs * step) + system.rhs_shared @ shared)
        assert stated == pytest.approx(numeric, rel=2e-3, abs=2e-3)


def test_feet_are_found_still_before_the_drive() -> None:
    track = simulated_track("000", noise=0.003)
    seen = observe(track, np.arange(0, len(track), 2), False, 1.83, LEARNED.landmarks)
    still = contact.stances(seen.time_s, merge(seen), 370.0)
    early = seen.time_s < 1.0
    assert still[early].mean() > 0.8
    assert still.mean() < 0.95
