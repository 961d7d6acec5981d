"""What work is made from: the caller's request, resolved at the moment it is made.

Kept with the work as JSON, by kind. analysis: ``options``, as in ``AnalysisOptions``, ``rules``,
and maybe ``again``, the earlier analysis whose joints are measured anew, with ``pictures``.
comparison: ``labels``, ``shipped`` (the side that is the shipped model), ``models`` (the sides that
show a model), ``kind``, ``film``, ``focus``, ``same_player``, ``rules_id``, ``rules``,
``language``, ``message``, ``voice`` (where it lies). progress: ``kind``, ``focus``, ``rules_id``,
``rules``, ``language``, ``message``, ``voice``. plan: ``rules_id``, ``rules``, ``done``,
``language``, ``message``, ``voice``. drill_check: ``rules``, ``finding``, ``drill``, ``plan_id``.
The rules are kept as they are then, so that a later change of a rule file does not change what was
said.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.again import AgainRequest
from models.contract.coaching import (
    ComparisonRequest,
    ComparisonSideRequest,
    DrillCheckRequest,
    PlanRequest,
    ProgressRequest,
)
from models.contract.errors import (
    InvalidRequest,
    NoLongerKept,
    NotFound,
    OtherPlayersAnalyses,
    PlanNotCompleted,
    PlanWithoutStep,
)
from models.contract.note_codes import NoteCode, say
from models.contract.plan import PracticeRules
from models.contract.resources import AnalysisOptions, AnalysisRequest
from models.contract.vocabulary import AnalysisStatus, Role, WorkKind
from models.practice.rules import rules_of
from service.core.joint_files import JOINT_TYPES
from service.core.material import (
    UNFINISHED,
    completed_analyses,
    everything_of,
    newest_serves,
    only_player,
    players_of,
)
from service.core.players import find_player
from service.core.principal import Principal
from service.core.roles import stored_role
from service.core.tables import Clip, FilmedSession, Player, RuleFile, Work
from service.core.two_films import check_second, ready_clip
from service.core.voices import voice_for
from service.core.work import Input, WorkStore

SIDES = ("first", "second")
OF_FILMS = ("capture_fps", "annotated_film", "faces", "models")
"""Options that mean nothing where there is no picture."""


def rule_text(session: Session, principal: Principal, rules_id: str | None) -> str | None:
    """Return a coach's rules as text; None = the shipped ones."""
    if rules_id is None:
        return None
    row = session.get(RuleFile, rules_id)
    if row is None or row.tenant_id != principal.tenant_id:
        raise NotFound(say(NoteCode.NO_SUCH_RULES))
    return row.text


class WorkRequests:
    """Enters work of every kind."""

    def __init__(self, work: WorkStore) -> None:
        self._work = work

    def analysis(self, session: Session, principal: Principal, body: AnalysisRequest) -> Work:
        """Enter the analysis of a clip that is ready, or of two that show one serve.

        What the options leave open is taken from the player of the clip's session.

        Raises
        ------
        NotFound, UploadNotComplete, NoLongerKept
            There is no such clip, or its film is not here yet, or no longer.
        InvalidRequest, FilmsOfTwoSessions
            The second film is the first, or no film, or is filed elsewhere.
        """
        clip = ready_clip(session, principal, body.clip_id)
        second = None
        if body.same_serve is not None:
            second = ready_clip(session, principal, body.same_serve)
            check_second(clip, second)
        return self.analysis_of_clip(
            session, principal, clip, body.options, body.external_ref, body.role, second
        )

    def analysis_of_clip(
        self,
        session: Session,
        principal: Principal,
        clip: Clip,
        options: AnalysisOptions,
        external_ref: str | None,
        role: Role = Role.PLAYER,
        second: Clip | None = None,
    ) -> Work:
        """Enter the analysis of this clip, and of a second film of its serve; both are ready."""
        _check_options(clip, options)
        known = _completed_by_player(session, clip, options.model_dump(mode="json"))
        rules = rule_text(session, principal, options.rules_id)
        row = self._work.enter(
            session,
            principal,
            WorkKind.ANALYSIS,
            {"options": known, "rules": rules},
            clip_id=clip.id,
            same_serve_id=None if second is None else second.id,
            external_ref=external_ref,
        )
        row.role = stored_role(role)
        return row

    def analysis_on_arrival(
        self, session: Session, principal: Principal, clip: Clip, options: dict[str, Any]
    ) -> Work | None:
        """Enter the analysis of a film that has come in; None when it has one already."""
        had = select(Work.id).where(
            Work.clip_id == clip.id,
            Work.kind == WorkKind.ANALYSIS,
            Work.status.in_((*UNFINISHED, AnalysisStatus.COMPLETED)),
        )
        if session.execute(had.limit(1)).first() is not None:
            return None
        body = AnalysisRequest(
            clip_id=clip.id,
            options=AnalysisOptions.model_validate(options),
            external_ref=clip.external_ref,
        )
        return self.analysis(session, principal, body)

    def analysis_again(
        self, session: Session, principal: Principal, analysis_id: str, asked: AgainRequest
    ) -> Work:
        """Enter another analysis of the same clip, from the joints of a completed one.

        Own lines go with it.

        Raises
        ------
        NotFound, AnalysisNotCompleted
            There is no such analysis, or it is not completed.
        """
        completed_analyses(session, principal, [analysis_id], [])
        earlier = session.get_one(Work, analysis_id)
        _check_joints(earlier)
        options = {**earlier.request["options"], "annotated_film": False}
        rules = earlier.request.get("rules")
        if asked.rules_id is not None:
            options["rules_id"] = asked.rules_id
            rules = rule_text(session, principal, asked.rules_id)
        if asked.pictures:
            _check_film(session.get_one(Clip, earlier.clip_id))
        row = self._work.enter(
            session,
            principal,
            WorkKind.ANALYSIS,
            {
                "options": options,
                "rules": rules,
                "again": earlier.id,
                "pictures": asked.pictures,
            },
            [Input(earlier.id)],
            clip_id=earlier.clip_id,
            same_serve_id=earlier.same_serve_id,
            external_ref=earlier.external_ref,
        )
        row.role = earlier.role
        row.own_lines = earlier.own_lines
        return row

    def comparison(self, session: Session, principal: Principal, body: ComparisonRequest) -> Work:
        """Enter the comparison of two sides, which share no analysis."""
        inputs = [
            Input(analysis_id, side)
            for side, asked in zip(SIDES, (body.first, body.second), strict=True)
            for analysis_id in completed_analyses(
                session, principal, asked.analyses, asked.sessions
            )
        ]
        sides = [{one.work_id for one in inputs if one.side == side} for side in SIDES]
        twice = sorted(set.intersection(*sides))
        if body.first.model is not None and body.second.model is not None:
            twice.append(body.second.model)
        for analysis in twice:
            said = say(NoteCode.ANALYSIS_ON_BOTH_SIDES, analysis=analysis)
            raise InvalidRequest(said, pointer="/second")
        models = [
            _shows_model(session, asked, side, ids)
            for side, asked, ids in zip(SIDES, (body.first, body.second), sides, strict=True)
        ]
        for one in inputs:
            _check_joints(session.get_one(Work, one.work_id))
        request = {
            "labels": {"first": body.first.label, "second": body.second.label},
            "shipped": next(
                (
                    side
                    for side, asked in zip(SIDES, (body.first, body.second), strict=True)
                    if asked.model is not None
                ),
                None,
            ),
            "models": [side for side, shows in zip(SIDES, models, strict=True) if shows],
            "kind": body.kind.value,
            "film": body.film,
            "focus": list(body.focus),
            "rules_id": body.rules_id,
            "rules": rule_text(session, principal, body.rules_id),
            "language": body.language.value,
            "message": body.message,
        }
        ids = [one.work_id for one in inputs]
        request["voice"] = voice_for(session, principal, body.voice_id, players_of(session, ids))
        player_id = only_player(session, ids)
        same = body.same_player
        whole = request["shipped"] is None  # nobody but the player is in it
        request["same_player"] = (player_id is not None and whole) if same is None else same
        return self._work.enter(
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
    ) -> Work:
        """Enter the progress of a player."""
        find_player(session, principal, player_id)
        return self._work.enter(
            session,
            principal,
            WorkKind.PROGRESS,
            {
                "kind": body.kind.value,
                "focus": list(body.focus),
                "rules_id": body.rules_id,
                "rules": rule_text(session, principal, body.rules_id),
                "language": body.language.value,
                "message": body.message,
                "voice": voice_for(session, principal, body.voice_id, {player_id}),
            },
            [Input(analysis_id) for analysis_id in everything_of(session, player_id)],
            player_id=player_id,
            external_ref=body.external_ref,
        )

    def plan(
        self, session: Session, principal: Principal, player_id: str, body: PlanRequest
    ) -> Work:
        """Enter a practice plan for a player."""
        find_player(session, principal, player_id)
        text = rule_text(session, principal, body.rules_id)
        known = {drill.id for drill in rules_of(text).drills}
        for number, drill in enumerate(body.done):
            if drill not in known:
                raise InvalidRequest(say(NoteCode.NO_SUCH_DRILL), pointer=f"/done/{number}")
        if body.analyses or body.sessions:
            found = completed_analyses(session, principal, body.analyses, body.sessions)
            if only_player(session, found) != player_id:
                raise OtherPlayersAnalyses(about=player_id)
        else:
            found = newest_serves(session, player_id)
        return self._work.enter(
            session,
            principal,
            WorkKind.PLAN,
            {
                "rules_id": body.rules_id,
                "rules": text,
                "done": list(body.done),
                "language": body.language.value,
                "message": body.message,
                "voice": voice_for(session, principal, body.voice_id, {player_id}),
            },
            [Input(analysis_id) for analysis_id in found],
            player_id=player_id,
            external_ref=body.external_ref,
        )

    def drill_check(self, session: Session, principal: Principal, body: DrillCheckRequest) -> Work:
        """Enter the judgement of the clips of one drill."""
        found = completed_analyses(session, principal, body.analyses, body.sessions)
        planned: dict[str, Any] = {}
        text = rule_text(session, principal, body.rules_id)
        if body.plan_id is not None:
            plan = session.get(Work, body.plan_id)
            if plan is None or (plan.tenant_id, plan.kind) != (principal.tenant_id, WorkKind.PLAN):
                raise NotFound(say(NoteCode.NO_SUCH_PLAN))
            if plan.status != AnalysisStatus.COMPLETED:
                said = say(NoteCode.STATUS_OF_PLAN, status=plan.status)
                raise PlanNotCompleted(said, about=plan.id)
            planned = plan.headline
            if body.rules_id is None:
                text = plan.request["rules"]
        finding, drill = body.finding or planned.get("focus"), body.drill or planned.get("next")
        if finding is None or drill is None:
            raise PlanWithoutStep(about=body.plan_id)
        _check_step(rules_of(text), finding, drill)
        return self._work.enter(
            session,
            principal,
            WorkKind.DRILL_CHECK,
            {"rules": text, "finding": finding, "drill": drill, "plan_id": body.plan_id},
            [Input(analysis_id) for analysis_id in found],
            player_id=only_player(session, found),
            external_ref=body.external_ref,
        )


def _shows_model(
    session: Session, asked: ComparisonSideRequest, side: str, analyses: set[str]
) -> bool:
    """Return whether a side shows a model; refuse one that shows a player besides."""
    if asked.model is not None:
        return True
    roles = {session.get_one(Work, one).role for one in analyses}
    if len(roles) > 1:
        raise InvalidRequest(say(NoteCode.MODEL_AND_PLAYER), pointer=f"/{side}/analyses")
    return roles == {Role.MODEL.value}


def _check_joints(row: Work) -> None:
    if row.joints_removed_at is not None:
        raise NoLongerKept(say(NoteCode.RESULT_NO_LONGER_KEPT, work=row.id))


def _check_film(clip: Clip) -> None:
    """Refuse to draw pictures of what was no film, or is one no longer."""
    if clip.media_type in JOINT_TYPES:
        raise InvalidRequest(
            say(NoteCode.OPTIONS_OF_FILMS, names=("pictures",)), pointer="/pictures"
        )
    if clip.film_removed_at is not None:
        raise NoLongerKept()


def _check_step(rules: PracticeRules, finding_id: str, drill_id: str) -> None:
    finding = next((one for one in rules.findings if one.id == finding_id), None)
    if finding is None:
        raise InvalidRequest(say(NoteCode.NO_SUCH_FINDING), pointer="/finding")
    if drill_id not in finding.drills:
        raise InvalidRequest(
            say(NoteCode.DRILL_NOT_OF_FINDING, drills=finding.drills),
            pointer="/drill",
        )


def _check_options(clip: Clip, options: AnalysisOptions) -> None:
    """Refuse options that mean nothing for this clip, rather than leave them unheard."""
    if clip.media_type not in JOINT_TYPES:
        if options.joints is not None:
            raise InvalidRequest(say(NoteCode.OPTIONS_OF_JOINTS), pointer="/options/joints")
        return
    given = options.model_dump(exclude_defaults=True)
    unheard = tuple(name for name in OF_FILMS if name in given)
    if unheard:
        raise InvalidRequest(
            say(NoteCode.OPTIONS_OF_FILMS, names=unheard), pointer=f"/options/{unheard[0]}"
        )


def _completed_by_player(session: Session, clip: Clip, options: dict[str, Any]) -> dict[str, Any]:
    """Return the options with the gaps filled by what is known of the player."""
    if clip.session_id is None:
        return options
    filmed = session.get_one(FilmedSession, clip.session_id)
    player = session.get_one(Player, filmed.player_id)
    known = {
        "height_m": player.height_m,
        "handedness": player.handedness,
        "sex": player.sex,
        "drill": filmed.drill_stage,
    }
    open_values = (None, "unknown")
    return options | {
        name: value
        for name, value in known.items()
        if value not in open_values and options.get(name) in open_values
    }
