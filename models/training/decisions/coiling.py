"""What films would say of turning away and bending, and the engine's judgement of it.

What the engine tells from a film are the mean turn of three lines and the mean bend of both knees
(:mod:`workers.engine.coil`); here both are drawn about the true ones and judged by its own rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import View
from workers.engine.calibration import Calibration
from workers.engine.coil import (
    BENDS,
    LEAST_BEND,
    METHOD,
    TURN_PER_BEND,
    Angle,
    probabilities,
    verdict_of,
)

TURN_SD = 10.0
"""What the fit states of the mean turn, degrees, and what is drawn: it erred by 6.5 on films of the
generator it was calibrated on, by more than it stated on another (`workers.engine.coil`)."""
OWN = 0.5
"""Share of the error that differs from serve to serve (working value: of the turn of the pelvis,
films of one place err alike in most of it)."""


@dataclass(frozen=True, slots=True)
class TrueCoil:
    """Mean turn away and mean bend gained from set-up to loading, degrees."""

    turn: float
    bend: float

    @property
    def only_bent(self) -> bool:
        """Whether it is a squat, by the limit that the shipped rule and the engine share."""
        return self.bend >= LEAST_BEND and self.turn <= TURN_PER_BEND * self.bend


@dataclass
class CoilCamera:
    """One camera place and one player: the error that all films of the two share is drawn once."""

    errors: Calibration
    rng: np.random.Generator
    view: View
    fps: float
    tails: float
    _alike: list[float] = field(default_factory=list)

    def judged(self, true: TrueCoil) -> CoilJudgement:
        """Return the judgement of one serve."""
        bend_sd = self._bend_sd()
        if not self._alike:
            self._alike = [self._draw(), self._draw()]
        alone = math.sqrt(1.0 - OWN**2)
        turn_error, bend_error = (alone * common + OWN * self._draw() for common in self._alike)
        seen = (
            Angle(true.turn + TURN_SD * turn_error, TURN_SD),
            Angle(true.bend + bend_sd * bend_error, bend_sd),
        )
        turned, bent, _ = probabilities(*seen)
        turned, bent = round(turned, 3), round(bent, 3)
        verdict = verdict_of(turned, bent, 1.0 - turned - bent)
        undecided = verdict is CoilVerdict.UNDECIDED
        return CoilJudgement(
            verdict=verdict,
            turned_away=turned,
            only_bent=bent,
            not_loaded=round(max(1.0 - turned - bent, 0.0), 3),
            reason=note(NoteCode.COIL_TOO_CLOSE) if undecided else None,
        )

    def _bend_sd(self) -> float:
        """Return the standard error of the bend: the knees of one film err together."""
        rows = [self.errors.residual(name, self.view, self.fps, METHOD) for name in BENDS]
        known = [row.mae for row in rows if row is not None]
        return max(float(np.mean(known)) / math.sqrt(2.0 / math.pi), 1e-6)

    def _draw(self) -> float:
        return float(self.rng.standard_t(self.tails)) / math.sqrt(self.tails / (self.tails - 2.0))
