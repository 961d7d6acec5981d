"""What films would say of true values, with the errors that the engine's calibration states."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from models.contract.analysis import Analysis, Event, Metric, Repetition, Scale, ViewEstimate
from models.contract.clip import ClipFacts, Usability
from models.contract.coil import CoilJudgement
from models.contract.interval import Z95
from models.contract.note import note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from workers.engine.calibration import Calibration, work_name
from workers.engine.metrics.registry import metrics_for
from workers.engine.metrics.spec import MetricSpec

from .coiling import CoilCamera, TrueCoil

VIEW, FPS = View.SIDE, 60.0
"""Where the camera stands, and its rate. From the side the engine tells what is informative."""
MEAN_OF_ABSOLUTE = math.sqrt(2.0 / math.pi)
"""Mean absolute error of a normal error, in standard deviations."""
TAILS = 6.0
"""Degrees of freedom of Student t of the errors drawn: films err farther now and then than a normal
error does (working value; documents state intervals as of a normal one)."""
SERVE_TO_SERVE = 0.25
"""How much a player's serves differ, in standard errors of measurement (working value)."""
NOT_PHYSICAL = frozenset({"rear_foot_load_share_dynamic@loading"})
"""The movements are drawn without forces: the load on the floor that follows from them is none."""


@dataclass
class Camera:
    """One camera place and one player: what all films of the two err alike is drawn once."""

    errors: Calibration
    rng: np.random.Generator
    first: Mapping[str, float]
    _alike: dict[str, float] = field(default_factory=dict)
    _shows: dict[str, float] = field(default_factory=dict)
    _turning: CoilCamera | None = None

    def film(
        self,
        truths: Mapping[str, float],
        count: int,
        kind: RepetitionKind = RepetitionKind.SERVE,
        coil: TrueCoil | None = None,
    ) -> tuple[Analysis, list[dict[str, float]]]:
        """Return a film of one session, and the true values of each of its repetitions.

        ``coil``: how far each turns and bends; it is judged where given.
        """
        session: dict[str, float] = {}
        found, true = [], []
        for _ in range(count):
            metrics, own = [], {}
            for spec in metrics_for(kind):
                truth = truths.get(spec.name)
                if truth is not None and not spec.metric.yes_no:
                    metric, own[spec.name] = self._measured(spec, truth, kind, session)
                    metrics.append(metric)
            judged = None if coil is None else self._coil().judged(coil)
            found.append(_repetition(kind, metrics, judged))
            true.append(own)
        return _analysis(found), true

    def _coil(self) -> CoilCamera:
        if self._turning is None:
            self._turning = CoilCamera(self.errors, self.rng, VIEW, FPS, TAILS)
        return self._turning

    def _measured(
        self, spec: MetricSpec, typical: float, kind: RepetitionKind, session: dict[str, float]
    ) -> tuple[Metric, float]:
        methods = sorted(
            {m for n, _, _, m in self.errors.metrics if n == work_name(spec.name, kind)}
        ) or ["none"]
        method = self.errors.best_method(spec.name, VIEW, FPS, methods, kind)
        known = self.errors.residual(spec.name, VIEW, FPS, method, kind)
        if known is None or not known.informative or spec.name in NOT_PHYSICAL:
            return _withheld(spec), typical
        sd = max(known.mae / MEAN_OF_ABSOLUTE, 1e-6)
        truth = typical + SERVE_TO_SERVE * sd * float(self.rng.standard_normal())
        shares = self.errors.repeat_shares(spec.name, VIEW)
        both = 0.0 if shares is None else min(shares.both, 1.0)
        alone = 0.0 if shares is None else min(shares.serve, both)
        common = math.sqrt(max(both**2 - alone**2, 0.0))
        place = math.sqrt(1.0 - both**2)
        name, named = spec.name, work_name(spec.name, kind)
        if named not in self._alike:  # each kind of work errs by its own calibration
            self._alike[named] = place * sd * self._draw()
            self._shows[named] = float(self.rng.normal(known.slope, known.slope_sd))
        if name not in session:
            session[name] = common * sd * self._draw()
        # Of a change of serves less is shown; a hold is no change of a serve.
        start = self.first.get(name, truth) if kind is RepetitionKind.SERVE else truth
        shown = start + self._shows[named] * (truth - start)
        value = shown + self._alike[named] + session[name] + alone * sd * self._draw()
        known_shown = known.slope_sd > 0.0 and known.slope > 0.0
        return Metric(
            key=spec.key,
            title=spec.title,
            event=spec.event,
            value=value,
            low=value - Z95 * sd,
            high=value + Z95 * sd,
            repeat_sd=None if shares is None else both * sd,
            session_sd=None if shares is None else common * sd,
            shown_share=min(max(known.slope - Z95 * known.slope_sd, 0.25), 1.0)
            if known_shown
            else None,
            usual_shown_share=known.slope if known_shown else None,
            unit=spec.unit,
            measurable=True,
            reason=None,
            method=method,
            reference=None,
        ), truth

    def _draw(self) -> float:
        return float(self.rng.standard_t(TAILS)) / math.sqrt(TAILS / (TAILS - 2.0))


def _withheld(spec: MetricSpec) -> Metric:
    return Metric(
        key=spec.key,
        title=spec.title,
        event=spec.event,
        value=None,
        low=None,
        high=None,
        unit=spec.unit,
        measurable=False,
        reason=note(NoteCode.UNCERTAINTY_TOO_LARGE),
        method="none",
        reference=None,
    )


def _repetition(
    kind: RepetitionKind, metrics: list[Metric], coil: CoilJudgement | None
) -> Repetition:
    events = {
        event: Event(time_s=0.3 * i, frame=round(18 * i), uncertainty_s=0.01, confidence=0.95)
        for i, event in enumerate(EventName)
    }
    return Repetition(
        kind=kind,
        start_s=0.0,
        end_s=3.0,
        confidence=0.95,
        events=events,
        metrics=tuple(metrics),
        coil=coil,
    )


def _analysis(repetitions: list[Repetition]) -> Analysis:
    return Analysis(
        clip=ClipFacts(duration_s=9.0, frame_rate=FPS, frames=540, width=1280, height=720),
        view=ViewEstimate(label=VIEW, azimuth_deg=90.0),
        handedness=Handedness.RIGHT,
        scale=Scale(source="given", metres_per_body_height=1.8),
        usability=Usability(usable=True),
        repetitions=tuple(repetitions),
        engine_version="decisions",
        engine_identity="0" * 64,
    )
