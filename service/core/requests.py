"""What a derived document is made from: the caller's request, resolved at the moment it is made.

The rules are kept with the request as they are then, so that a later change of a rule file does
not change what was said.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from models.contract.coaching import (
    ComparisonRequest,
    DrillCheckRequest,
    PlanRequest,
    ProgressRequest,
)
from models.contract.errors import Conflict, InvalidRequest, NotFound
from models.contract.plan import PracticeRules
from models.contract.vocabulary import AnalysisStatus, WorkKind
from models.practice.rules import rules_of
from service.core.access import Principal
from service.core.documents import DocumentStore, Input
from service.core.material import (
    completed_analyses,
    everything_of,
    newest_serves,
    only_player,
)
from service.core.players import find_player
from service.core.tables import DerivedDocument, RuleFile


def rule_text(session: Session, principal: Principal, rules_id: str | None) -> str | None:
    """Return a coach's rules as text; None = the shipped ones."""
    if rules_id is None:
        return None
    row = session.get(RuleFile, rules_id)
    if row is None or row.tenant_id != principal.tenant_id:
        raise NotFound("There are no practice rules under that rules_id. See the list.")
    return row.text


class DocumentRequests:
    """Enters derived documents."""

    def __init__(self, documents: DocumentStore) -> None:
        self._documents = documents

    def comparison(
        self, session: Session, principal: Principal, body: ComparisonRequest
    ) -> DerivedDocument:
        """Enter the comparison of two sides."""
        inputs = [
            Input(analysis_id, side)
            for side, asked in (("first", body.first), ("second", body.second))
            for analysis_id in completed_analyses(
                session, principal, asked.analyses, asked.sessions
            )
        ]
        request = {
            "labels": {"first": body.first.label, "second": body.second.label},
            "kind": body.kind.value,
            "film": body.film,
            "focus": list(body.focus),
            "language": body.language.value,
        }
        player_id = only_player(session, [one.analysis_id for one in inputs])
        same = body.same_player
        request["same_player"] = player_id is not None if same is None else same
        return self._documents.create(
            session,
            principal,
            WorkKind.COMPARISON,
            request,
            inputs,
            player_id=player_id,
            external_ref=body.external_ref,
        )

    def progress(
        self, session: Session, principal: Principal, player_id: str, body: ProgressRequest
    ) -> DerivedDocument:
        """Enter the progress of a player."""
        find_player(session, principal, player_id)
        return self._documents.create(
            session,
            principal,
            WorkKind.PROGRESS,
            {"kind": body.kind.value, "language": body.language.value},
            [Input(analysis_id) for analysis_id in everything_of(session, player_id)],
            player_id=player_id,
            external_ref=body.external_ref,
        )

    def plan(
        self, session: Session, principal: Principal, player_id: str, body: PlanRequest
    ) -> DerivedDocument:
        """Enter a practice plan for a player."""
        find_player(session, principal, player_id)
        text = rule_text(session, principal, body.rules_id)
        known = {drill.id for drill in rules_of(text).drills}
        for number, drill in enumerate(body.done):
            if drill not in known:
                raise InvalidRequest("The rules have no such drill.", pointer=f"/done/{number}")
        if body.analyses or body.sessions:
            found = completed_analyses(session, principal, body.analyses, body.sessions)
            if only_player(session, found) != player_id:
                raise Conflict("These analyses are not all of this player's sessions.")
        else:
            found = newest_serves(session, player_id)
        return self._documents.create(
            session,
            principal,
            WorkKind.PLAN,
            {
                "rules_id": body.rules_id,
                "rules": text,
                "done": list(body.done),
                "language": body.language.value,
            },
            [Input(analysis_id) for analysis_id in found],
            player_id=player_id,
            external_ref=body.external_ref,
        )

    def drill_check(
        self, session: Session, principal: Principal, body: DrillCheckRequest
    ) -> DerivedDocument:
        """Enter the judgement of the clips of one drill."""
        found = completed_analyses(session, principal, body.analyses, body.sessions)
        planned: dict[str, Any] = {}
        text = rule_text(session, principal, body.rules_id)
        if body.plan_id is not None:
            plan = session.get(DerivedDocument, body.plan_id)
            if plan is None or plan.tenant_id != principal.tenant_id:
                raise NotFound("There is no plan under that plan_id. It may have been erased.")
            if plan.status != AnalysisStatus.COMPLETED:
                raise Conflict(f"The plan is {plan.status}. Wait until it is completed.")
            planned = plan.headline
            if body.rules_id is None:
                text = plan.request["rules"]
        finding, drill = body.finding or planned.get("focus"), body.drill or planned.get("next")
        if finding is None or drill is None:
            raise Conflict("The plan has no step to work on. Name finding and drill.")
        _check_step(rules_of(text), finding, drill)
        return self._documents.create(
            session,
            principal,
            WorkKind.DRILL_CHECK,
            {"rules": text, "finding": finding, "drill": drill, "plan_id": body.plan_id},
            [Input(analysis_id) for analysis_id in found],
            player_id=only_player(session, found),
            external_ref=body.external_ref,
        )


def _check_step(rules: PracticeRules, finding_id: str, drill_id: str) -> None:
    finding = next((one for one in rules.findings if one.id == finding_id), None)
    if finding is None:
        raise InvalidRequest("The rules have no such finding.", pointer="/finding")
    if drill_id not in finding.drills:
        raise InvalidRequest(
            f"That drill is not a step of this finding: {', '.join(finding.drills)}.",
            pointer="/drill",
        )
