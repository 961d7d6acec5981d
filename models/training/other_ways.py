"""How much wider intervals must be for ways of moving that calibration films do not show.

Films of one generator err alike, so errors of films of the same generators say too little of a
player who moves otherwise. Each generator is left out in turn, the rest calibrates, and the
residual term is widened until intervals hold as many values of the one left out as they promise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from models.contract.frame_rate import rate_class
from models.contract.interval import Z95
from models.contract.tracks import FloatArray
from workers.engine.accuracy import ClipErrors, MetricError
from workers.engine.calibration import LEAST_R2, Residual, work_name

Rows = Mapping[tuple[str, str, str, str], tuple[float, float, float, int, float, float, float]]
FEWEST_FILMS = 8
"""Films from which a generator is left out (working value)."""
WIDEST = 3.0
"""Largest widening that is looked for (working value)."""
MISSED_S = 0.25
"""Time error from which an event that states no uncertainty was found elsewhere, in another dip of
the pelvis, say (working value: half the time between the dips of a serve)."""


def missed(compared: ClipErrors, error: MetricError) -> bool:
    """Return whether the instant of a value lies outside the 95 % interval that it states.

    Then the value is of another instant, which the confidence of the event has to tell.
    """
    _, at, event = error.name.partition("@")
    return bool(at) and any(
        one.event.value == event
        and one.seconds is not None
        and abs(one.seconds) > (Z95 * one.sd_s if one.sd_s else MISSED_S)
        for one in compared.events
    )


def propagated(error: MetricError) -> float:
    """Return the standard uncertainty that the interval of a value states, nothing added."""
    if error.low is None or error.high is None:
        return 0.0
    return (error.high - error.low) / (2.0 * Z95)


def widening(
    by_generator: Mapping[str, Sequence[ClipErrors]],
    calibrate: Callable[[Iterable[ClipErrors]], Rows],
    coverage: float,
) -> float:
    """Return the factor of all residual terms, at least 1; 1 where there is nothing to leave out.

    Parameters
    ----------
    by_generator : mapping of str to sequence of ClipErrors
        Films by what drew their movement.
    calibrate : callable
        From films to a residual table.
    coverage : float
        Share of the values of a generator left out that their 95 % intervals must hold.
    """
    left = [name for name, films in by_generator.items() if len(films) >= FEWEST_FILMS]
    if len(left) < 2:
        return 1.0
    found = []
    for out in left:
        rest = [film for name, films in by_generator.items() if name != out for film in films]
        found += list(_judged(by_generator[out], calibrate(rest)))
    away, spread, sd = np.array(found, dtype=np.float64).reshape(-1, 3).T
    return _factor(away, spread, sd, coverage) if len(away) else 1.0


def _judged(films: Iterable[ClipErrors], rows: Rows) -> Iterable[tuple[float, float, float]]:
    """Yield error less bias, propagated and residual deviation of each value that is told."""
    for film in films:
        for error in film.metrics:
            if error.error is None or missed(film, error):
                continue
            named = work_name(error.name, error.kind)
            row = rows.get((named, error.view.value, rate_class(error.fps), error.method))
            if row is None:
                continue
            known = Residual(*row)
            if known.sd > 0.0 and known.r2 >= LEAST_R2:
                yield error.error - known.bias, propagated(error), known.sd


def _factor(away: FloatArray, spread: FloatArray, sd: FloatArray, coverage: float) -> float:
    low, high = 1.0, WIDEST
    for _ in range(30):
        middle = (low + high) / 2.0
        held = np.mean(np.abs(away) <= Z95 * np.hypot(spread, middle * sd))
        low, high = (low, middle) if held >= coverage else (middle, high)
    return float(f"{high:.3g}") if high > 1.0 + 1e-6 else 1.0


def generator_of(path: Path) -> str:
    """Return what drew the movement of a film measured into a file, from the file's name.

    Films whose names say no profile, seed and number count as by one generator: ``""``.
    """
    from models.training.rendered.profiles import PROFILES, draw_clip

    parts = path.stem.rsplit("-", 2)
    if len(parts) < 3 or parts[0] not in PROFILES or not (parts[1] + parts[2]).isdecimal():
        return ""
    return draw_clip(parts[0], int(parts[1]), int(parts[2]))[0].generator
