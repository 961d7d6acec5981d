"""How long an analysis will still take, from what its steps have cost this machine before."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

from models.contract.costs import MeasuredCosts, Step, StepCost

OWN_PACE = 0.2
"""From this share of a counted step on, its own pace foretells its end (working value)."""


class TimeLeft:
    """Times the steps of one analysis, and says what is still to come.

    Reading it (`seconds`) from another thread than the one that works is safe.

    Parameters
    ----------
    costs : MeasuredCosts
        Of earlier analyses on this machine.
    clock : callable
        Seconds, never going back.
    """

    def __init__(
        self,
        costs: MeasuredCosts | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._costs = costs or MeasuredCosts()
        self._clock = clock
        self._film_s: float | None = None
        self._steps: tuple[Step, ...] = ()
        self._units: dict[Step, float] = {}
        self._spent: dict[Step, float] = {}
        self._now: tuple[Step, float] | None = None
        self._done = 0

    def film(self, seconds: float, *, annotated: bool) -> None:
        """Say how long the film is, seconds, and whether an annotated one is to be made."""
        self._steps = tuple(step for step in Step if annotated or step is not Step.FILM)
        self._film_s = seconds
        self._units[Step.FIRST_LOOK] = seconds
        self._units[Step.STORE] = 1.0

    def found(self, frames: float, stretches: int) -> None:
        """Say what the first look found: frames to look at closely, stretches of likely work."""
        self._units |= {
            Step.CLOSE_LOOK: frames,
            Step.FILM: frames,
            Step.MEASURE: float(stretches),
            Step.DRAW: float(stretches),
        }

    def begin(self, step: Step) -> None:
        """Say that a step begins and the one before has ended."""
        self.end()
        self._done = 0
        self._now = (step, self._clock())

    def one_more(self) -> None:
        """Say that one more unit of the present step is done."""
        self._done += 1

    def end(self) -> None:
        """Say that the present step has ended."""
        if self._now is not None:
            step, start = self._now
            self._spent[step] = self._spent.get(step, 0.0) + self._clock() - start
            self._now = None

    @property
    def seconds(self) -> float | None:
        """Seconds to the end; None while this machine has finished nothing like it."""
        now = self._now
        if now is None or self._film_s is None:
            return None
        here, start = now
        present = self._present(here, self._clock() - start)
        later = [self._expected(step) for step in self._steps[self._steps.index(here) + 1 :]]
        if present is None or any(one is None for one in later):
            return None
        return present + sum(one for one in later if one is not None)

    @property
    def spent(self) -> Mapping[Step, StepCost]:
        """What the ended steps have cost, for `MeasuredCosts.with_run`."""
        film_s = self._film_s
        if film_s is None:
            return {}
        return {
            step: StepCost(seconds=seconds, units=self._units.get(step, 0.0), film_s=film_s)
            for step, seconds in self._spent.items()
        }

    def _expected(self, step: Step) -> float | None:
        assert self._film_s is not None
        return self._costs.expected_s(step, self._film_s, self._units.get(step))

    def _present(self, step: Step, elapsed: float) -> float | None:
        total = self._units.get(step, 0.0)
        share = min(1.0, self._done / total) if total > 0 else 0.0
        if share >= OWN_PACE:
            return elapsed * (1.0 - share) / share
        expected = self._expected(step)
        if expected is None:
            return None
        return expected * (1.0 - share) if share > 0 else max(0.0, expected - elapsed)
