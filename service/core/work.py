"""Queued work in the database: every change of state goes through here, whatever its kind.

Each method locks the row, asks :mod:`service.core.lifecycle` for a decision and carries it out in
one transaction. Workers use :meth:`~WorkStore.claim`, :meth:`~WorkStore.heartbeat`,
:meth:`~WorkStore.complete`, :meth:`~WorkStore.fail` and :meth:`~WorkStore.release`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from models.contract.clip import ClipFacts
from models.contract.errors import (
    Erased,
    LeaseLost,
    NotFound,
    ServewrightError,
    WorkEnded,
    WorkerCrashed,
)
from models.contract.first_look import FirstLook
from models.contract.note_codes import NoteCode, say
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, Stage, WorkKind
from service.core import lifecycle
from service.core.announcements import address_of, announce, verdict_headline
from service.core.claims import Claim, StoredFile, claim_of
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.kinds import KINDS
from service.core.principal import Principal
from service.core.quotas import Quotas
from service.core.session_ends import announce_end, lock_session_of
from service.core.tables import Clip, Work, WorkInput
from service.core.traces import carried
from service.core.turns import end, requeue, state_of
from service.core.usage import count


@dataclass(frozen=True, slots=True)
class Input:
    """Finished work that other work is to be made from.

    Attributes
    ----------
    side : str or None
        ``first`` or ``second`` of a comparison.
    """

    work_id: str
    side: str | None = None


class WorkStore:
    """Moves work through its life.

    Parameters
    ----------
    public_url : str
        Base of the links in events; empty = relative links.
    """

    def __init__(
        self,
        database: Database,
        policy: lifecycle.Policy,
        quotas: Quotas,
        public_url: str = "",
    ) -> None:
        self._database = database
        self._quotas = quotas
        self.policy = policy
        self._public_url = public_url.rstrip("/")

    def enter(
        self,
        session: Session,
        principal: Principal,
        kind: WorkKind,
        request: dict[str, Any],
        inputs: Sequence[Input] = (),
        *,
        clip_id: str | None = None,
        same_serve_id: str | None = None,
        player_id: str | None = None,
        external_ref: str | None = None,
    ) -> Work:
        """Enter new work in the caller's transaction. Enqueue it after the commit."""
        self._quotas.check_work(session, principal.tenant_id)
        now = self._database.now(session)
        row = Work(
            id=new_id(KINDS[kind].prefix),
            tenant_id=principal.tenant_id,
            kind=kind,
            clip_id=clip_id,
            same_serve_id=same_serve_id,
            player_id=player_id,
            created_at=now,
            status=AnalysisStatus.QUEUED,
            progress=0.0,
            attempt=1,
            crashes=0,
            queued_at=now,
            external_ref=external_ref,
            request=request,
            artifacts={},
            headline={},
            traceparent=carried(),
        )
        session.add(row)
        session.flush()
        own = {"work_id": row.id, "tenant_id": row.tenant_id}
        for i, one in enumerate(inputs):
            session.add(WorkInput(position=i, input_id=one.work_id, side=one.side, **own))
        return row

    def get(
        self,
        principal: Principal,
        work_id: str,
        kind: WorkKind | None = None,
        player_id: str | None = None,
    ) -> Work:
        """Return a row of this tenant (and kind, and player), or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.scalars(
                select(Work).where(Work.id == work_id, Work.tenant_id == principal.tenant_id)
            ).one_or_none()
        if row is None or (kind is not None and row.kind != kind):
            raise NotFound()
        if player_id is not None and row.player_id != player_id:
            raise NotFound()
        return row

    def inputs(self, work_ids: Sequence[str]) -> dict[str, tuple[str, ...]]:
        """Return what each piece of work is made from, by its id."""
        found: dict[str, tuple[str, ...]] = dict.fromkeys(work_ids, ())
        with self._database.read() as session:
            rows = session.scalars(
                select(WorkInput)
                .where(WorkInput.work_id.in_(list(work_ids)))
                .order_by(WorkInput.work_id, WorkInput.position)
            )
            for row in rows:
                found[row.work_id] += (row.input_id,)
        return found

    def cancel(self, principal: Principal, work_id: str) -> Work:
        """Cancel unfinished work; raise ``WorkEnded`` when it has already ended otherwise."""
        self.get(principal, work_id)
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            if isinstance(decision := lifecycle.cancel(state_of(row)), lifecycle.Settled):
                row.status = decision.status
                end(row, now)
            elif row.status != AnalysisStatus.CANCELLED:
                raise WorkEnded(say(NoteCode.KIND_ENDED, kind=row.kind), about=row.id)
            return row

    def claim(self, kind: WorkKind, work_id: str, attempt: int, holder: str) -> Claim:
        """Take the work. Raises ``LeaseLost``, ``Cancelled`` or ``Erased`` when it is not yours."""
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            if row.kind != kind:
                raise LeaseLost()
            decision = lifecycle.claim(state_of(row), attempt, now, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            row.status = AnalysisStatus.RUNNING
            row.lease_until = decision.lease_until
            row.lease_holder = holder
            row.stage = Stage.PROBE
            row.started_at = row.started_at or now
            return claim_of(session, row, now)

    def heartbeat(
        self,
        work_id: str,
        attempt: int,
        stage: Stage | None = None,
        progress: float | None = None,
        time_left_s: float | None = None,
    ) -> datetime:
        """Extend the lease, note how far the work is; return when the lease now ends.

        Progress never goes back, also not when another attempt begins anew.

        Raises ``LeaseLost``, ``Cancelled`` or ``Erased``: stop and remove what was written.
        """
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            decision = lifecycle.extend(state_of(row), attempt, now, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            row.lease_until = decision.lease_until
            if stage is not None:
                row.stage = stage
            if progress is not None:
                row.progress = max(row.progress, min(1.0, max(0.0, progress)))
            row.time_left_s = time_left_s
            return decision.lease_until

    def looked(self, work_id: str, attempt: int, verdict: FirstLook) -> None:
        """Make the verdict of a first look visible, with its event; the first attempt's stays."""
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            decision = lifecycle.extend(state_of(row), attempt, now, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            row.lease_until = decision.lease_until
            if row.first_look is not None:
                return
            row.first_look = verdict.model_dump(mode="json")
            session.flush()
            headline = verdict_headline(verdict)
            announce(session, now, row, "analysis.first_look", headline, self._public_url)

    def complete(
        self,
        work_id: str,
        attempt: int,
        artifacts: Mapping[str, StoredFile],
        *,
        headline: Mapping[str, Any] | None = None,
        facts: ClipFacts | None = None,
        processor_s: float = 0.0,
    ) -> None:
        """Make the results visible: one commit with the status and the event.

        Parameters
        ----------
        artifacts : mapping
            Name in the API (``result``, ``report.html``, ``pictures/…``, …) to the object already
            written below the attempt's prefix.
        headline : mapping or None
            A few values for the event body.
        facts : ClipFacts or None
            What was learnt about the clip that it is of.
        processor_s : float
            Processor time this attempt took, seconds.
        """
        with self._database.write() as session:
            row, now = self._settle(session, work_id, attempt, AnalysisStatus.COMPLETED)
            kind = KINDS[WorkKind(row.kind)]
            prefix = kind.result_prefix(row.tenant_id, work_id, attempt) + "/"
            for name, artifact in artifacts.items():
                if not artifact.key.startswith(prefix):
                    raise ValueError(f"{name} lies outside the prefix of this attempt")
            row.artifacts = {name: asdict(artifact) for name, artifact in artifacts.items()}
            row.headline = dict(headline or {})
            row.progress = 1.0
            row.stage = Stage.STORE
            session.flush()
            announce_end(session, now, row, self._public_url)
            if row.kind == WorkKind.ANALYSIS:  # it has joints of its own now
                session.execute(delete(WorkInput).where(WorkInput.work_id == row.id))
            if facts is not None:
                session.execute(
                    update(Clip)
                    .where(Clip.id == row.clip_id)
                    .values(facts=facts.model_dump(mode="json"))
                )
            count(
                session,
                row.tenant_id,
                now,
                analyses=int(row.kind == WorkKind.ANALYSIS),
                film_s=0.0 if facts is None else facts.duration_s,
                processor_s=processor_s,
            )

    def fail(
        self,
        work_id: str,
        attempt: int,
        error: ServewrightError,
        stage: Stage | None = None,
        processor_s: float = 0.0,
    ) -> None:
        """End the work with a problem that says what to do."""
        with self._database.write() as session:
            row, now = self._settle(session, work_id, attempt, AnalysisStatus.FAILED)
            self._fail(session, now, row, error, stage)
            count(session, row.tenant_id, now, processor_s=processor_s)

    def release(self, work_id: str, attempt: int) -> int:
        """Give the work back unfinished; return the attempt to enqueue next."""
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            decision = lifecycle.release(state_of(row), attempt)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            requeue(row, decision, now)
            return decision.attempt

    def broken_off(
        self,
        work_id: str,
        attempt: int,
        error: ServewrightError,
        stage: Stage | None = None,
        processor_s: float = 0.0,
    ) -> int | None:
        """Count a break that somebody else caused; return the attempt to enqueue next.

        None: it was the last one allowed, and the work has failed with this error.
        """
        with self._database.write() as session:
            row, now = self._locked(session, work_id, ending=True)
            decision = lifecycle.crashed(state_of(row), attempt, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            count(session, row.tenant_id, now, processor_s=processor_s)
            if isinstance(decision, lifecycle.Requeue):
                requeue(row, decision, now)
                return decision.attempt
            row.crashes = decision.crashes
            row.status = AnalysisStatus.FAILED
            self._fail(session, now, row, error, stage)
            return None

    def recover(
        self, work_id: str, in_queue: bool | None
    ) -> lifecycle.Requeue | lifecycle.EnqueueAgain | lifecycle.GiveUp | lifecycle.Leave:
        """Carry out what the state machine decides for unfinished work.

        The caller enqueues afterwards for ``Requeue`` and ``EnqueueAgain``.
        """
        with self._database.write() as session:
            row, now = self._locked(session, work_id, ending=True)
            decision = lifecycle.recover(state_of(row), now, self.policy, in_queue)
            if isinstance(decision, lifecycle.Requeue):
                requeue(row, decision, now)
            elif isinstance(decision, lifecycle.EnqueueAgain):
                row.queued_at = now
            elif isinstance(decision, lifecycle.GiveUp):
                row.crashes = decision.crashes
                stage = Stage(row.stage) if row.stage else None
                row.status = AnalysisStatus.FAILED
                self._fail(session, now, row, WorkerCrashed(), stage)
            return decision

    def unfinished(self) -> list[tuple[str, lifecycle.State]]:
        """Return the work that is queued or running."""
        open_states = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)
        with self._database.read() as session:
            rows = session.scalars(
                select(Work).where(Work.status.in_(open_states)).order_by(Work.id)
            ).all()
        return [(row.id, state_of(row)) for row in rows]

    def _locked(
        self, session: Session, work_id: str, *, ending: bool = False
    ) -> tuple[Work, datetime]:
        if ending:
            lock_session_of(session, work_id)
        row = session.execute(
            select(Work).where(Work.id == work_id).with_for_update()
        ).scalar_one_or_none()
        if row is None:
            raise Erased()
        return row, self._database.now(session)

    def _settle(
        self, session: Session, work_id: str, attempt: int, status: AnalysisStatus
    ) -> tuple[Work, datetime]:
        row, now = self._locked(session, work_id, ending=True)
        decision = lifecycle.settle(state_of(row), attempt, status)
        if isinstance(decision, lifecycle.Refused):
            raise decision.error
        row.status = decision.status
        end(row, now)
        return row, now

    def _fail(
        self,
        session: Session,
        now: datetime,
        row: Work,
        error: ServewrightError,
        stage: Stage | None,
    ) -> None:
        end(row, now)
        row.stage = stage or row.stage
        problem = Problem.of(error, instance=address_of(row), stage=stage)
        row.problem = problem.model_dump(mode="json")
        session.flush()
        announce_end(session, now, row, self._public_url)
