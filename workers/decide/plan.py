"""From measured serves to one focus and its drill progression, and what a drill clip decides."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy import stats

from models.contract.analysis import CAUTIONS, Analysis, Metric, Repetition
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import Note, note, written
from models.contract.note_codes import NoteCode
from models.contract.plan import (
    Criterion,
    CriterionOutcome,
    Drill,
    DrillDecision,
    DrillOutcome,
    Finding,
    PlanStep,
    PracticePlan,
    PracticeRules,
    RankedFinding,
)
from models.contract.vocabulary import RepetitionKind
from workers.decide import statistics as st
from workers.decide.groups import at_any_event, interval, mean_of

MIN_CERTAINTY = 0.5
"""A finding is reported when it is more likely than not."""


def make_plan(
    rules: PracticeRules, analyses: Sequence[Analysis], *, done: Sequence[str] = ()
) -> PracticePlan:
    """Return a practice plan: one focus at a time, ordered by effect size times certainty.

    Parameters
    ----------
    rules : PracticeRules
    analyses : sequence of Analysis
        The player's serves.
    done : sequence of str
        Ids of drills whose criteria were met before.
    """
    serves = [
        r for analysis in analyses for r in analysis.repetitions if r.kind == RepetitionKind.SERVE
    ]
    ranked: list[RankedFinding] = []
    not_judged: list[Note] = []
    for finding in rules.findings:
        key = _judged_by(finding, serves)
        group, reason = _measured(finding, key, serves)
        if group is None:
            not_judged.append(note(NoteCode.FINDING_NOT_JUDGED, finding=finding.id, reason=reason))
            continue
        judged = _rank(finding, key, group)
        if judged.certainty >= MIN_CERTAINTY and judged.effect > 0:
            ranked.append(judged)
    ranked.sort(key=lambda r: r.effect * r.certainty, reverse=True)
    focus = ranked[0] if ranked else None
    return PracticePlan(
        rules=rules.name,
        focus=focus,
        steps=_steps(rules, focus, done),
        others=tuple(ranked[1:]),
        not_judged=tuple(not_judged),
        cautions=CAUTIONS + tuple(written(text) for text in rules.cautions),
    )


def _judged_by(rule: Finding | Criterion, repetitions: Sequence[Repetition]) -> str:
    """Return the rule's metric, or its other one where that is measured more often."""
    if rule.otherwise is None:
        return rule.metric
    counts = [
        sum(
            m.unit == rule.unit and _sure_enough(m)
            for m in at_any_event(repetitions, key, rule.event)
        )
        for key in (rule.metric, rule.otherwise)
    ]
    first = counts[0] >= counts[1] and counts[0] > 0
    return rule.metric if first else rule.otherwise


def _sure_enough(metric: Metric) -> bool:
    """Whether a value is there and, in results of earlier versions too, not too uncertain."""
    if metric.value is None or metric.low is None or metric.high is None:
        return False
    known = CATALOGUE.get(metric.key)
    widest = None if known is None else known.widest
    return widest is None or (metric.high - metric.low) / 2.0 <= Z95 * widest


def _measured(
    finding: Finding, key: str, serves: Sequence[Repetition]
) -> tuple[st.GroupMean | None, Note]:
    found = at_any_event(serves, key, finding.event)
    group = mean_of([m for m in found if m.unit == finding.unit])
    missing = note(NoteCode.NOT_MEASURED_IN_CLIPS)
    if group is not None:
        return group, missing
    if any(m.measurable for m in found):
        return None, note(NoteCode.RULE_UNIT_DIFFERS, unit=finding.unit)
    return None, next((m.reason for m in found if m.reason), missing)


def _rank(finding: Finding, key: str, group: st.GroupMean) -> RankedFinding:
    se = st.standard_error(group)
    low, high = interval(group)
    past = group.mean - finding.value if finding.is_ == ">=" else finding.value - group.mean
    certainty = float(stats.norm.cdf(past / se)) if se > 0 else float(past >= 0)
    return RankedFinding(
        finding=finding,
        value=group.mean,
        low=low,
        high=high,
        certainty=certainty,
        effect=past / finding.scale,
        measured_by=None if key == finding.metric else key,
    )


def _steps(
    rules: PracticeRules, focus: RankedFinding | None, done: Sequence[str]
) -> tuple[PlanStep, ...]:
    if focus is None:
        return ()
    drills = {drill.id: drill for drill in rules.drills}
    steps: list[PlanStep] = []
    open_seen = False
    for drill_id in focus.finding.drills:
        if drill_id in done and not open_seen:
            steps.append(PlanStep(drill=drills[drill_id], state="done"))
        else:
            steps.append(PlanStep(drill=drills[drill_id], state="later" if open_seen else "next"))
            open_seen = True
    return tuple(steps)


def judge_drill(
    rules: PracticeRules, finding_id: str, drill_id: str, analyses: Sequence[Analysis]
) -> DrillOutcome:
    """Return what a drill clip says: advance, repeat, go back, or film again.

    Raises ``KeyError`` when the finding or the drill is not in the rules.
    """
    drill = {d.id: d for d in rules.drills}[drill_id]
    order = {f.id: f for f in rules.findings}[finding_id].drills
    place = order.index(drill_id) if drill_id in order else 0
    repetitions = [r for a in analyses for r in a.repetitions if r.kind == drill.stage]
    outcomes = tuple(_outcome(c, repetitions) for c in drill.advance_when)
    decision, reason = _decide(drill, repetitions, outcomes, first=place == 0)
    step = {DrillDecision.ADVANCE: 1, DrillDecision.GO_BACK: -1}.get(decision, 0)
    following = place + step
    return DrillOutcome(
        drill=drill_id,
        decision=decision,
        next_drill=order[following] if 0 <= following < len(order) else None,
        outcomes=outcomes,
        reason=reason,
    )


def _outcome(criterion: Criterion, repetitions: Sequence[Repetition]) -> CriterionOutcome:
    met = surely = measured = 0
    key = _judged_by(criterion, repetitions)
    for repetition in repetitions:
        found = at_any_event([repetition], key, criterion.event)
        metric = next((m for m in found if m.unit == criterion.unit), None)
        if metric is None or metric.value is None or metric.low is None or metric.high is None:
            continue
        measured += 1
        if criterion.is_ == ">=":
            met += metric.value >= criterion.value
            surely += metric.low >= criterion.value
        else:
            met += metric.value <= criterion.value
            surely += metric.high <= criterion.value
    return CriterionOutcome(
        criterion=criterion,
        met=met,
        surely_met=surely,
        measured=measured,
        measured_by=None if key == criterion.metric else key,
    )


def _decide(
    drill: Drill,
    repetitions: Sequence[Repetition],
    outcomes: Sequence[CriterionOutcome],
    *,
    first: bool,
) -> tuple[DrillDecision, Note]:
    show = drill.film.show
    if not repetitions:
        missing = note(NoteCode.NO_REPETITION_OF_KIND, kind=drill.stage.value, show=show)
        return DrillDecision.FILM_AGAIN, missing
    if any(o.measured == 0 for o in outcomes):
        return DrillDecision.FILM_AGAIN, note(NoteCode.CRITERION_NOT_MEASURED, show=show)
    if all(o.met >= o.criterion.repetitions for o in outcomes):
        return DrillDecision.ADVANCE, note(NoteCode.CRITERIA_MET)
    weakest = min(o.met / o.measured for o in outcomes)
    short = min(o.measured - o.criterion.repetitions for o in outcomes)
    if short < 0 and math.isclose(weakest, 1.0):
        return DrillDecision.REPEAT, note(NoteCode.TOO_FEW_FILMED)
    if weakest < drill.go_back_below and not first:
        return DrillDecision.GO_BACK, note(NoteCode.TOO_FEW_MET)
    if weakest == 0:
        return DrillDecision.REPEAT, note(NoteCode.NONE_MET_AT_FIRST_STEP)
    return DrillDecision.REPEAT, note(NoteCode.SOME_MET)
