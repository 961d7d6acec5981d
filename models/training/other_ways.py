"""How much wider intervals must be for ways of moving that calibration films do not show.

Films of one generator err alike, so errors of films of the same generators say too little of a
player who moves otherwise. Each generator is left out in turn, the rest calibrates, and a term is
added until intervals hold as many values of those left out as they promise; generators weigh alike,
however many films they have.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache

import numpy as np

from models.contract.frame_rate import rate_class
from models.contract.interval import Z95
from models.contract.tracks import FloatArray
from models.contract.vocabulary import Handedness
from workers.engine.accuracy import ClipErrors, MetricError
from workers.engine.calibration import LEAST_R2, Residual, work_name

Rows = Mapping[tuple[str, str, str, str], tuple[float, float, float, int, float, float, float]]
FEWEST_FILMS = 8
"""Films from which a generator is left out (working value)."""
FEWEST_VALUES = 40
"""Values of generators left out from which a metric is widened (working value): methods and
positions of one film count each."""
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


def right_hand_found(compared: ClipErrors) -> bool:
    """Return whether the hand that truly hits was taken for the hitting one.

    Else left and right are exchanged in every value, which no interval can hold: accuracy reports
    count such films, and the caller's handedness prevents them.
    """
    return compared.handedness_found in (compared.handedness, Handedness.UNKNOWN)


def propagated(error: MetricError) -> float:
    """Return the standard uncertainty that the interval of a value states, nothing added."""
    if error.low is None or error.high is None:
        return 0.0
    return (error.high - error.low) / (2.0 * Z95)


def widening(
    by_generator: Mapping[str, Sequence[ClipErrors]],
    calibrate: Callable[[Iterable[ClipErrors]], Rows],
    coverage: float,
) -> dict[str, float]:
    """Return by metric of a kind of work what to add in quadrature; only what is above zero.

    Parameters
    ----------
    by_generator : mapping of str to sequence of ClipErrors
        Films by what drew their movement.
    calibrate : callable
        From films to a residual table.
    coverage : float
        Share of the values of generators left out that their 95 % intervals must hold.
    """
    left = [name for name, films in by_generator.items() if len(films) >= FEWEST_FILMS]
    if len(left) < 2:
        return {}
    found: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for out in left:
        rest = [film for name, films in by_generator.items() if name != out for film in films]
        mine: dict[str, list[tuple[float, float]]] = defaultdict(list)
        for named, away, said in _judged(by_generator[out], calibrate(rest)):
            mine[named].append((away, said))
        for named, values in mine.items():
            found[named] += [(away, said, 1.0 / len(values)) for away, said in values]
    terms = {
        named: _term(np.array(values), coverage)
        for named, values in sorted(found.items())
        if len(values) >= FEWEST_VALUES
    }
    return {named: term for named, term in terms.items() if term > 0.0}


def _judged(films: Iterable[ClipErrors], rows: Rows) -> Iterable[tuple[str, float, float]]:
    """Yield metric, error less bias, and stated standard uncertainty of each value that is told."""
    for film in filter(right_hand_found, films):
        for error in film.metrics:
            if error.error is None or missed(film, error):
                continue
            named = work_name(error.name, error.kind)
            row = rows.get((named, error.view.value, rate_class(error.fps), error.method))
            if row is None:
                continue
            known = Residual(*row)
            if known.sd > 0.0 and known.r2 >= LEAST_R2:
                said = float(np.hypot(propagated(error), known.sd))
                yield named, error.error - known.bias, said


def _term(values: FloatArray, coverage: float) -> float:
    """Return the smallest term with which enough of values (N, 3: error, stated sd, weight) are
    held.
    """
    need = np.sqrt(np.maximum((values[:, 0] / Z95) ** 2 - values[:, 1] ** 2, 0.0))
    order = np.argsort(need)
    share = np.cumsum(values[order, 2]) / np.sum(values[:, 2])
    place = min(int(np.searchsorted(share, coverage - 1e-9)), len(need) - 1)
    return float(f"{need[order[place]]:.3g}")


@cache
def generator_of(film: str) -> str:
    """Return what drew the movement of a film, from its name.

    Films whose names say no profile, seed and number count as by one generator: ``""``.
    """
    from models.training.rendered.profiles import PROFILES, draw_clip

    parts = film.rsplit("-", 2)
    if len(parts) < 3 or parts[0] not in PROFILES or not (parts[1] + parts[2]).isdecimal():
        return ""
    return draw_clip(parts[0], int(parts[1]), int(parts[2]))[0].generator
