"""Turned away from the target, or only bent: one judgement from knees, hips and shoulders.

The ratio of pelvis turn to knee bend is withheld where one of its parts is too uncertain. The
three lines together are surer than any of them, and whether they lie above or below a limit can be
probable all the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from models.contract.coil import CoilJudgement, CoilVerdict
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, RepetitionKind, View
from workers.engine.measurability import FilmContext, not_found
from workers.engine.metrics.legs import mean_knee_flexion
from workers.engine.metrics.turns import turn_between
from workers.engine.readings import Readings
from workers.engine.samples import Samples
from workers.engine.uncertainty import value_and_spread

TURN_PER_BEND = 0.15
"""Degrees that knees, hips and shoulders turn away, on average, for each degree of knee bend below
which a player only bends: the limit of the shipped practice rule for the hips (common practice, no
source)."""
LEAST_BEND = 10.0
"""Degrees that the knees bend on top of the set-up, below which nothing was loaded (working value;
the ratio of turn to bend is undefined there)."""
DECIDED = 0.8
"""Probability from which a judgement is told, as practice findings are."""
BEST_PLACES = (View.FRONT_QUARTER, View.BEHIND)
"""Camera places from which a single film tells turns best, the best first (bound of what landmarks
can tell: shoulder turn 6.2 and 8.0 deg against 10.6 from the side)."""
METHOD = "fit_and_lift"
"""What reads the turn from films: the mean turn of the three lines by the mean of fit and lift
erred by 7.7 to 8.6 deg (root mean square, 65 films by four ways of moving from the front quarter,
the rear quarter and behind), by the fit alone as much, by the lift alone by 8.9 to 9.8. The fit
says 16 to 22 of each line's turn, the mean of both 9 to 12."""
TOGETHER = 0.75
"""Error of the mean turn, or bend, over that of a single line, or knee (0.63 to 0.90 on the same
films): what films were off by besides counts so much."""
KINDS = (RepetitionKind.SERVE, RepetitionKind.SHADOW)
"""Work that is loaded from a set-up."""
LINES = ("pelvis", "shoulder", "knee")
TURNS = tuple(f"{line}_turn@loading" for line in LINES)
BENDS = ("front_knee_flexion@loading", "rear_knee_flexion@loading")
_START, _END = EventName.SET_UP, EventName.LOADING


@dataclass(frozen=True, slots=True)
class Angle:
    """An angle and its standard uncertainty, degrees."""

    value: float
    sd: float


def turn_away(body: Samples) -> FloatArray:
    """Mean turn of the lines of pelvis, shoulders and knees, set-up to loading, deg, shape (S,).

    Positive away from the target.
    """
    return np.asarray(np.mean([turn_between(body, line, _START, _END) for line in LINES], axis=0))


def bend_gained(body: Samples) -> FloatArray:
    """Mean flexion of both knees gained from set-up to loading, deg, shape (S,)."""
    return mean_knee_flexion(body.pose(_END)) - mean_knee_flexion(body.pose(_START))


def probabilities(turn: Angle, bend: Angle) -> tuple[float, float, float]:
    """Return the probabilities of turned away, only bent, and not loaded; they add up to 1.

    Priors are flat, errors normal and independent.

    Parameters
    ----------
    turn : Angle
        Mean turn of knees, hips and shoulders from set-up to loading, positive away from the
        target.
    bend : Angle
        Mean flexion of both knees gained meanwhile.
    """
    loaded = 1.0 - NormalDist(bend.value, max(bend.sd, 1e-6)).cdf(LEAST_BEND)
    spare = turn.value - TURN_PER_BEND * max(bend.value, LEAST_BEND)
    sd = math.hypot(turn.sd, TURN_PER_BEND * bend.sd)
    away = 1.0 - NormalDist(spare, max(sd, 1e-6)).cdf(0.0)
    return loaded * away, loaded * (1.0 - away), 1.0 - loaded


def verdict_of(turned: float, bent: float, still: float) -> CoilVerdict:
    """Return what is probable enough to be told."""
    found = {
        CoilVerdict.TURNED_AWAY: turned,
        CoilVerdict.ONLY_BENT: bent,
        CoilVerdict.NOT_LOADED: still,
    }
    best = max(found, key=lambda verdict: found[verdict])
    return best if found[best] >= DECIDED else CoilVerdict.UNDECIDED


def coil_of(readings: Readings, context: FilmContext) -> CoilJudgement | None:
    """Return the judgement of a repetition; None for work that is not loaded from a set-up."""
    if context.kind not in KINDS:
        return None
    reason = context.refused or not_found((_START, _END), context)
    if reason is not None:
        return _unsaid(reason)
    if context.locked:
        return _unsaid(note(NoteCode.JOINTS_LOCKED))
    place = _better_place(context.view)
    if context.view is not None and place is not None and not _proven(context):
        code = NoteCode.VIEW_NOT_PROVEN
        return _unsaid(note(code, view=context.view.value, better=place.value), place)
    turn, bend = measured(readings, context)
    if not all(math.isfinite(x) for x in (turn.value, turn.sd, bend.value, bend.sd)):
        return _unsaid(note(NoteCode.UNDEFINED_IN_MOTION))
    turned, bent, still = probabilities(turn, bend)
    verdict = verdict_of(turned, bent, still)
    undecided = verdict is CoilVerdict.UNDECIDED
    turned, bent = round(turned, 3), round(bent, 3)
    return CoilJudgement(
        verdict=verdict,
        turned_away=turned,
        only_bent=bent,
        not_loaded=round(max(1.0 - turned - bent, 0.0), 3),
        film_from=place if undecided else None,
        reason=_too_close(context.view, place) if undecided else None,
    )


def measured(readings: Readings, context: FilmContext) -> tuple[Angle, Angle]:
    """Return turn and bend with their uncertainties.

    What films of known truth were off by besides is added: of one film the lines err together, and
    so do the knees, so that means err nearly as much as their parts.
    """
    method = METHOD if METHOD in readings.bodies else next(iter(readings.bodies))
    found = []
    for formula, parts in ((turn_away, TURNS), (bend_gained, BENDS)):
        value, sd = value_and_spread(formula, *readings.bodies[method])
        found.append(Angle(value, math.hypot(sd, _besides(parts, context))))
    return found[0], found[1]


def _besides(parts: Sequence[str], context: FilmContext) -> float:
    """Mean residual of values, degrees; zero of joints from elsewhere."""
    if context.view is None or not context.calibrated:
        return 0.0
    rows = [context.errors.residual(part, context.view, context.fps, METHOD) for part in parts]
    return TOGETHER * float(np.mean([row.sd for row in rows if row is not None] or [0.0]))


def _proven(context: FilmContext) -> bool:
    """Return whether films from this place were ever measured; joints from elsewhere need none."""
    if context.view is None or not context.calibrated:
        return True
    rows = (context.errors.residual(part, context.view, context.fps, METHOD) for part in TURNS)
    return all(row is not None for row in rows)


def _unsaid(reason: Note, place: View | None = None) -> CoilJudgement:
    return CoilJudgement(
        verdict=CoilVerdict.UNDECIDED,
        turned_away=None,
        only_bent=None,
        not_loaded=None,
        film_from=place,
        reason=reason,
    )


def _too_close(view: View | None, place: View | None) -> Note:
    if view is None or place is None:
        return note(NoteCode.COIL_TOO_CLOSE)
    code = NoteCode.COIL_SECOND_PLACE if view in BEST_PLACES else NoteCode.COIL_OTHER_PLACE
    return note(code, view=view.value, better=place.value)


def _better_place(view: View | None) -> View | None:
    if view is None:
        return None
    return next(place for place in BEST_PLACES if place is not view)
