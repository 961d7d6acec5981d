"""Levenberg-Marquardt over the arrow-shaped equations of the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workers.engine.fit.problem import FitProblem
from workers.engine.fit.state import FitState

MAX_DAMPING = 1e6
"""Damping from which no step can lower the cost any more (working value)."""


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the iterations ended.

    Attributes
    ----------
    state : State
    cost : float
        Sum of (robust) squared residuals.
    iterations : int
    converged : bool
    """

    state: FitState
    cost: float
    iterations: int
    converged: bool


def minimise(
    problem: FitProblem,
    state: FitState,
    *,
    steps: int,
    damping: float = 1e-3,
    tolerance: float = 1e-3,
) -> Solution:
    """Minimise the problem's cost from a first guess.

    Robust weights are renewed at every step, so a step that lowers the quadratic model but raises
    the true cost is refused and damped.
    """
    cost = np.inf
    for iteration in range(steps):
        cost, equations = problem.evaluate(state, build=True)
        assert equations is not None
        system = equations.equations()
        while True:
            try:
                step, shared = system.solve(damping)
                trial = state.moved(step, shared, equations.basis)
                trial_cost, _ = problem.evaluate(trial, build=False)
            except np.linalg.LinAlgError:
                trial_cost = np.inf
            if trial_cost < cost:
                break
            damping *= 8.0
            if damping > MAX_DAMPING:
                return Solution(state, cost, iteration, True)
        gain = (cost - trial_cost) / cost
        state, cost, damping = trial, trial_cost, max(damping / 5.0, 1e-6)
        if gain < tolerance:
            return Solution(state, cost, iteration + 1, True)
    return Solution(state, cost, steps, False)
