"""What movements with known events showed of the engine's times: how wide, how often right.

Learned data (`workers.learned` reads them), made by ``python -m models.training events``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from models.contract.vocabulary import EventName

RATES = (25.0, 30.0, 60.0, 120.0, 240.0)
"""Frame rates that were measured, per second."""
BODY = "body"
"""Source of an event that the body alone tells: its width is that of the calibration."""
WITHOUT = 0.6
"""Confidence of an event in a way that was never measured."""
BORROWED = 0.85
"""Share of its confidence that is left where the figures are of another rate or source."""

ALIKE_RATES = 1.25
"""Rates whose ratio is less share their figures."""

Row = tuple[float, float, float, int]
"""(bias in seconds, factor on the standard uncertainty, share within 1.96 of it, count)."""


def nearest_rate(fps: float) -> float:
    """Return the measured rate that is nearest by ratio."""
    return min(RATES, key=lambda known: abs(np.log(known / max(fps, 1e-6))))


@dataclass(frozen=True, slots=True)
class EventErrors:
    """Rows by (event, main source, rate); empty = nothing was ever measured."""

    rows: Mapping[tuple[str, str, float], Row] = field(default_factory=lambda: MappingProxyType({}))

    def judged(
        self, event: EventName, source: str, fps: float, sd_s: float
    ) -> tuple[float, float, float]:
        """Return bias to take out, standard uncertainty and confidence of an event.

        Figures of another rate are widened by the difference in what sampling leaves
        (``dt / sqrt 12``), and never narrow anything.

        Parameters
        ----------
        event : EventName
        source : str
            Its method: the surest source counts.
        fps : float
        sd_s : float
            As the evidence gave it, seconds.
        """
        main = source.split("+", maxsplit=1)[0]
        step = 1.0 / max(fps, 1e-6)
        rate = nearest_rate(fps)
        row = self.rows.get((event.value, main, rate))
        share = 1.0 if abs(np.log(rate * step)) < np.log(ALIKE_RATES) else BORROWED
        if row is None:
            others = [key for key in self.rows if key[0] == event.value and key[1] != BODY]
            if not others:
                return 0.0, max(sd_s, step / float(np.sqrt(12.0))), WITHOUT
            rows = [self.rows[key] for key in others]
            factor, right = max(r[1] for r in rows), min(r[2] for r in rows)
            return 0.0, self._floor(sd_s * factor, step, None), right * BORROWED
        bias, factor, right, _ = row
        return bias, self._floor(sd_s * factor, step, 1.0 / rate), right * share

    def body_confidence(self, event: EventName, fps: float) -> float | None:
        """Return how often the stated uncertainty of an event told by the body held.

        Less where films of another rate say it; None where no films were measured.
        """
        known = {
            rate: row[2]
            for (name, source, rate), row in self.rows.items()
            if name == event.value and source == BODY
        }
        if not known:
            return None
        rate = min(known, key=lambda one: abs(np.log(one / max(fps, 1e-6))))
        near = abs(np.log(rate / max(fps, 1e-6))) < np.log(ALIKE_RATES)
        return known[rate] if near else known[rate] * BORROWED

    @staticmethod
    def _floor(sd_s: float, step_s: float, known_step_s: float | None) -> float:
        known = step_s if known_step_s is None else known_step_s
        more = max(step_s**2 - known**2, 0.0) / 12.0
        return float(max(np.sqrt(sd_s**2 + more), step_s / np.sqrt(12.0)))


NO_EVENT_ERRORS = EventErrors()
"""Nothing measured."""
