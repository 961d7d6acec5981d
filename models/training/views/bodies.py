"""Metrics of the body that both films give, beside those of the first film alone, and the truth."""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.interval import Z95
from models.contract.vocabulary import Handedness
from models.training.views.measure import Tried, marks
from models.training.views.pairs import HEIGHT, WIDTH
from models.training.views.sessions import true_values
from models.training.views.told import told
from workers.engine.fit import FitResult, fit_body
from workers.engine.interface import EngineRequest
from workers.engine.learned import Learned
from workers.engine.lift import lift_track
from workers.engine.views.fused import SecondFilm
from workers.engine.views.pairing import ViewPair

ONE, TWO = "one film", "two films"


@dataclass(frozen=True)
class ValueFound:
    """One metric of one serve by one way of filming, in its unit; ``sd`` as stated."""

    way: str
    name: str
    measured: float
    true: float
    sd: float

    @property
    def off(self) -> float:
        """Error."""
        return self.measured - self.true


def bodies_of(one: Tried, learned: Learned) -> list[ValueFound]:
    """Return the metrics of a right pair by one film (fit and lift) and by two."""
    if not isinstance(one.found, ViewPair):
        return []
    pair, track = one.pair, one.pair.one.track
    landmarks = learned.landmarks
    first, second = (marks(film, pair.dense, landmarks) for film in (pair.one, pair.two))
    middle = (WIDTH / 2.0, HEIGHT / 2.0)
    beside = SecondFilm(
        one.found, first, second, pair.two.track, (middle, middle), False, landmarks
    )
    request = EngineRequest(stature_m=pair.dense.stature_m, azimuth_deg=pair.one.azimuth_deg)
    window = (float(track.time_s[0]), float(track.time_s[-1]))
    lifted = lift_track(track, (0, len(track)), Handedness.RIGHT, learned.lift, None)
    out = []
    for way in (ONE, TWO):
        fit = fit_body(
            track,
            window,
            handedness=Handedness.RIGHT,
            request=request,
            landmarks=landmarks,
            lifted=lifted,
            beside=(beside,) if way == TWO else (),
        )
        out += _values(way, fit, one)
    return out


def _values(way: str, fit: FitResult, one: Tried) -> list[ValueFound]:
    """Return what a body says at the true instants, in the unit of each metric."""
    dense = one.pair.dense
    low, high = fit.motion.time_s[[0, -1]]
    clock = {name: t + one.pair.one.offset_s for name, t in dense.events.items()}
    clock = {name: t for name, t in clock.items() if low <= t <= high}
    true = true_values(dense)
    return [
        ValueFound(way, name, metric.value, true[name], (metric.high - metric.low) / (2.0 * Z95))
        for name, metric in told(fit.motion, fit.sample, clock).items()
        if name in true
        and metric.value is not None
        and metric.low is not None
        and metric.high is not None
    ]
