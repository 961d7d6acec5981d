"""What a drill clip decides: by how likely it is, not by point values."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.contract.analysis import Analysis, Repetition
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.plan import (
    Criterion,
    CriterionOutcome,
    Drill,
    DrillDecision,
    DrillOutcome,
    PracticeRules,
)
from workers.decide.chances import Margin, counts, margin
from workers.decide.followed import criteria_of
from workers.decide.groups import at_any_event
from workers.decide.plan import judged_by

DECIDED = 0.85
"""Probability from which a decision is taken; below it is too close to call (working value, tried
on no data yet)."""


def judge_drill(
    rules: PracticeRules, finding_id: str, drill_id: str, analyses: Sequence[Analysis]
) -> DrillOutcome:
    """Return what a drill clip says: advance, repeat, go back, film again, or too close to call.

    Every value has its uncertainty, so each criterion gives a probability that as many repetitions
    as asked truly meet it, and one that fewer than the drill's ``go_back_below`` do. Criteria are
    taken as independent. A decision stands from `DECIDED` on. Fewer repetitions than asked for
    neither advance nor send back.

    Raises ``KeyError`` when the finding or the drill is not in the rules.
    """
    drill = {d.id: d for d in rules.drills}[drill_id]
    finding = {f.id: f for f in rules.findings}[finding_id]
    order = finding.drills
    place = order.index(drill_id) if drill_id in order else 0
    repetitions = [r for a in analyses for r in a.repetitions if r.kind == drill.stage]
    judged = [_outcome(c, repetitions) for c in criteria_of(rules, finding, drill)]
    outcomes = tuple(outcome for outcome, _ in judged)
    decision, certainty, reason = _decide(drill, repetitions, judged, first=place == 0)
    step = {DrillDecision.ADVANCE: 1, DrillDecision.GO_BACK: -1}.get(decision, 0)
    following = place + step
    return DrillOutcome(
        drill=drill_id,
        decision=decision,
        certainty=certainty,
        next_drill=order[following] if 0 <= following < len(order) else None,
        outcomes=outcomes,
        reason=reason,
    )


_Judged = tuple[CriterionOutcome, list[Margin]]


def _outcome(criterion: Criterion, repetitions: Sequence[Repetition]) -> _Judged:
    met = surely = 0
    key = judged_by(criterion, repetitions)
    margins: list[Margin] = []
    for repetition in repetitions:
        found = at_any_event([repetition], key, criterion.event)
        metric = next((m for m in found if m.unit == criterion.unit), None)
        against = None if metric is None else margin(metric, criterion.is_, criterion.value)
        if metric is None or against is None or metric.low is None or metric.high is None:
            continue
        margins.append(against)
        met += against.past >= 0
        upwards = criterion.is_ == ">="
        surely += metric.low >= criterion.value if upwards else metric.high <= criterion.value
    enough = float(np.sum(counts(margins)[criterion.repetitions :])) if margins else None
    outcome = CriterionOutcome(
        criterion=criterion,
        met=met,
        surely_met=surely,
        measured=len(margins),
        enough=None if enough is None else min(max(enough, 0.0), 1.0),
        measured_by=None if key == criterion.metric else key,
    )
    return outcome, margins


def _decide(
    drill: Drill, repetitions: Sequence[Repetition], judged: Sequence[_Judged], *, first: bool
) -> tuple[DrillDecision, float | None, Note]:
    show = drill.film.show
    outcomes = [outcome for outcome, _ in judged]
    if not repetitions:
        missing = note(NoteCode.NO_REPETITION_OF_KIND, kind=drill.stage.value, show=show)
        return DrillDecision.FILM_AGAIN, None, missing
    if any(o.measured == 0 for o in outcomes):
        return DrillDecision.FILM_AGAIN, None, note(NoteCode.CRITERION_NOT_MEASURED, show=show)
    short = min(outcomes, key=lambda o: o.measured - o.criterion.repetitions)
    if short.measured < short.criterion.repetitions:
        missing = note(
            NoteCode.FEWER_THAN_ASKED,
            measured=short.measured,
            asked=short.criterion.repetitions,
            show=show,
        )
        if all(o.met == o.measured for o in outcomes):
            missing = note(NoteCode.TOO_FEW_FILMED)
        return DrillDecision.FILM_AGAIN, None, missing
    advance, back = _chances(drill, judged)
    shown = all(o.met >= o.criterion.repetitions for o in outcomes)
    if all(o.surely_met >= o.criterion.repetitions for o in outcomes):
        return DrillDecision.ADVANCE, advance, note(NoteCode.CRITERIA_SURELY_MET)
    if advance >= DECIDED and shown:
        return DrillDecision.ADVANCE, advance, note(NoteCode.CRITERIA_MET)
    if not first and back >= DECIDED:
        return DrillDecision.GO_BACK, back, note(NoteCode.TOO_FEW_MET)
    stay = 1.0 - advance - (0.0 if first else back)
    if stay >= DECIDED:
        none = min(o.met for o in outcomes) == 0
        code = NoteCode.NONE_MET_AT_FIRST_STEP if first and none else NoteCode.SOME_MET
        return DrillDecision.REPEAT, stay, note(code)
    if not first and 1.0 - advance >= DECIDED:
        # Not met for sure; how far off is open, and the milder step costs the player less.
        return DrillDecision.REPEAT, 1.0 - advance, note(NoteCode.NOT_ENOUGH_MET)
    likeliest = max(advance, stay, 0.0 if first else back)
    return DrillDecision.TOO_CLOSE, likeliest, note(NoteCode.TOO_CLOSE_TO_CALL, show=show)


def _chances(drill: Drill, judged: Sequence[_Judged]) -> tuple[float, float]:
    """Return the probabilities that all criteria are met often enough, and that one is met by
    fewer repetitions than the share below which a player goes back.
    """
    advance, not_back = 1.0, 1.0
    for outcome, margins in judged:
        chances = counts(margins)
        asked = outcome.criterion.repetitions
        advance *= float(np.sum(chances[asked:]))
        # Enough repetitions that meet it never send back, whatever their share.
        few = [n for n in range(min(asked, len(chances))) if n / len(margins) < drill.go_back_below]
        not_back *= 1.0 - float(np.sum(chances[few]))
    back = min(max(1.0 - not_back, 0.0), 1.0)
    advance = min(max(advance, 0.0), 1.0 - back)
    return advance, back
