"""From measured serves to one focus and its drill progression."""

from __future__ import annotations

from collections.abc import Sequence

from scipy import stats

from models.contract.analysis import CAUTIONS, Analysis, Metric, Repetition
from models.contract.interval import Z95
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.note import Note, note, written
from models.contract.note_codes import NoteCode
from models.contract.plan import (
    Criterion,
    Finding,
    PlanStep,
    PracticePlan,
    PracticeRules,
    RankedFinding,
    UndecidedFinding,
)
from models.contract.vocabulary import RepetitionKind
from models.practice.rules import thresholds_of
from workers.decide import statistics as st
from workers.decide.coil import EFFECT, asks_for_coil, coiled
from workers.decide.followed import criteria_of
from workers.decide.groups import at_any_event, interval, mean_of

HOLDS = 0.8
"""Probability from which a finding is worked on; below 1 less this it is cleared, and between the
two it is too close to call (working value)."""


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
    undecided: list[UndecidedFinding] = []
    not_judged: list[Note] = []
    for finding in rules.findings:
        judged, reason = _judge(finding, serves)
        if judged is None:
            missing = reason or note(NoteCode.NOT_MEASURED_IN_CLIPS)
            not_judged.append(note(NoteCode.FINDING_NOT_JUDGED, finding=finding.id, reason=missing))
        elif judged.certainty >= HOLDS:
            ranked.append(judged)
        elif judged.certainty > 1.0 - HOLDS:
            how = reason or _how(finding, rules)
            undecided.append(UndecidedFinding(ranked=judged, how_to_film=how))
    ranked.sort(key=lambda r: r.effect * r.certainty, reverse=True)
    focus = ranked[0] if ranked else None
    return PracticePlan(
        rules=rules.name,
        focus=focus,
        steps=_steps(rules, focus, done),
        others=tuple(ranked[1:]),
        undecided=tuple(undecided),
        not_judged=tuple(not_judged),
        thresholds=thresholds_of(rules),
        cautions=CAUTIONS + tuple(written(text) for text in rules.cautions),
    )


def _judge(
    finding: Finding, serves: Sequence[Repetition]
) -> tuple[RankedFinding | None, Note | None]:
    """Return how sure a finding is, and why it is not known or not decided.

    Whether a player squats is judged as the engine judges it, where the rule asks for that.
    """
    judged = coiled(serves) if asks_for_coil(finding) else None
    if judged is not None:
        if judged.only_bent is None:
            return None, judged.reason
        found = RankedFinding(
            finding=finding,
            value=None,
            low=None,
            high=None,
            certainty=judged.only_bent,
            effect=EFFECT,
        )
        return found, judged.reason
    key = judged_by(finding, serves)
    group, missing = _measured(finding, key, serves)
    return (None, missing) if group is None else (_rank(finding, key, group), None)


def _how(finding: Finding, rules: PracticeRules) -> Note:
    """Return how to film so that a finding can be told: as its serves are filmed."""
    drills = {drill.id: drill for drill in rules.drills}
    own = [drills[name] for name in finding.drills]
    film = next((d for d in reversed(own) if d.stage == RepetitionKind.SERVE), own[-1]).film
    return note(
        NoteCode.FILM_TO_TELL,
        views=tuple(view.value for view in film.views),
        rate=film.frame_rate,
        show=film.show,
    )


def judged_by(rule: Finding | Criterion, repetitions: Sequence[Repetition]) -> str:
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
        drill = drills[drill_id]
        asked = criteria_of(rules, focus.finding, drill)
        drill = drill.model_copy(update={"advance_when": asked})
        if drill_id in done and not open_seen:
            steps.append(PlanStep(drill=drill, state="done"))
        else:
            steps.append(PlanStep(drill=drill, state="later" if open_seen else "next"))
            open_seen = True
    return tuple(steps)
