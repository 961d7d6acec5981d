"""What a drill asks for when it is done for a finding: the exit criteria follow the focus."""

from __future__ import annotations

from models.contract.metrics.catalogue import CATALOGUE
from models.contract.plan import Criterion, Drill, Finding, PracticeRules


def criteria_of(rules: PracticeRules, finding: Finding, drill: Drill) -> tuple[Criterion, ...]:
    """Return what a drill asks for when it is done for a finding.

    For the first finding of the rules that uses it, a drill asks for what is written with it.
    Others that share it must not let a player move on by what was not worked on: criteria on the
    movement of another finding are left out, and where none is on the finding's own movement, its
    own threshold is asked for, as far as repetitions of the drill's kind are measured by it.
    """
    made_for = next((one.id for one in rules.findings if drill.id in one.drills), finding.id)
    if made_for == finding.id:
        return drill.advance_when
    own = _movements(finding)
    others = {m for one in rules.findings if one.id != finding.id for m in _movements(one)} - own
    kept = tuple(c for c in drill.advance_when if CATALOGUE.movement(c.metric) not in others)
    if not any(CATALOGUE.movement(one.metric) in own for one in kept):
        kept = (*kept, *_goal(finding, drill))
    return kept or drill.advance_when


def _movements(finding: Finding) -> set[str]:
    return {CATALOGUE.movement(key) for key in (finding.metric, finding.otherwise) if key}


def _goal(finding: Finding, drill: Drill) -> tuple[Criterion, ...]:
    """Return the finding's threshold as what is to be reached, if the drill's kind is measured by
    it: at the finding's instant, or at the one that the kind has (a hold has the loaded one only).
    """
    known = CATALOGUE.get(finding.metric)
    instants = [one.event for one in known.taken if drill.stage in one.kinds] if known else []
    if not instants:
        return ()
    here = finding.event is None or finding.event in instants
    return (
        Criterion(
            metric=finding.metric,
            otherwise=finding.otherwise if here else None,
            event=finding.event if here else instants[0],
            is_=">=" if finding.is_ == "<=" else "<=",
            value=finding.value,
            unit=finding.unit,
            repetitions=max(one.repetitions for one in drill.advance_when),
        ),
    )
