"""Analyses in the database: every change of state goes through here.

Each method locks the row, asks :mod:`service.core.lifecycle` for a decision and carries it out in
one transaction. Workers use :meth:`~AnalysisStore.claim`, :meth:`~AnalysisStore.heartbeat`,
:meth:`~AnalysisStore.complete`, :meth:`~AnalysisStore.fail` and :meth:`~AnalysisStore.release`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from models.contract.clip import ClipFacts
from models.contract.errors import Conflict, Erased, NotFound, ServewrightError, WorkerCrashed
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, Stage
from models.contract.webhook import EventType, WebhookData
from service.core import lifecycle
from service.core.access import Principal
from service.core.database import Database
from service.core.identifiers import new_id
from service.core.outbox import emit
from service.core.tables import Analysis, Clip


@dataclass(frozen=True, slots=True)
class Artifact:
    """A result file in the object store, under its name in the API (``joints.npz``)."""

    key: str
    sha256: str
    size_bytes: int
    media_type: str


@dataclass(frozen=True, slots=True)
class Claim:
    """Work that a worker now owns.

    Attributes
    ----------
    attempt : int
        Fencing token; give it back with every call.
    crashes : int
        Workers this analysis has taken down so far.
    result_prefix : str
        Write every result object below this prefix (``…/joints.npz``); it belongs to the attempt.
    options : dict
        What the caller asked for, as in ``models.contract.resources.AnalysisOptions``.
    """

    analysis_id: str
    attempt: int
    crashes: int
    lease_until: datetime
    clip_id: str
    clip_key: str
    clip_sha256: str
    clip_size_bytes: int
    clip_media_type: str
    options: dict[str, Any]
    result_prefix: str


def result_root(analysis_id: str) -> str:
    """Return the prefix below which all attempts of an analysis write."""
    return f"analyses/{analysis_id}"


def result_prefix(analysis_id: str, attempt: int) -> str:
    """Return the prefix below which one attempt writes."""
    return f"{result_root(analysis_id)}/{attempt}"


def state_of(row: Analysis) -> lifecycle.State:
    """Return the facts that decisions are made by."""
    return lifecycle.State(
        AnalysisStatus(row.status), row.attempt, row.crashes, row.queued_at, row.lease_until
    )


class AnalysisStore:
    """Moves analyses through their life.

    Parameters
    ----------
    public_url : str
        Base of the links in events; empty = relative links.
    """

    def __init__(self, database: Database, policy: lifecycle.Policy, public_url: str = "") -> None:
        self._database = database
        self.policy = policy
        self._public_url = public_url.rstrip("/")

    def create(
        self,
        principal: Principal,
        clip_id: str,
        options: dict[str, Any],
        external_ref: str | None = None,
        session: Session | None = None,
    ) -> Analysis:
        """Enter a new analysis of a clip that is ready. Enqueue it after the commit.

        Parameters
        ----------
        session : Session or None
            Transaction to join, when more must be written together with it.
        """
        if session is None:
            with self._database.write() as session:
                return self.create(principal, clip_id, options, external_ref, session)
        clip = session.scalars(
            select(Clip).where(Clip.id == clip_id, Clip.tenant_id == principal.tenant_id)
        ).one_or_none()
        if clip is None:
            raise NotFound("There is no clip under that clip_id. Upload the film first.")
        if clip.state != "ready":
            raise Conflict("The upload of this clip is not complete. Complete it first.")
        now = self._database.now(session)
        row = Analysis(
            id=new_id("ana"),
            tenant_id=principal.tenant_id,
            clip_id=clip_id,
            created_at=now,
            status=AnalysisStatus.QUEUED,
            progress=0.0,
            attempt=1,
            crashes=0,
            queued_at=now,
            options=options,
            external_ref=external_ref,
            artifacts={},
            headline={},
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, analysis_id: str) -> Analysis:
        """Return an analysis of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.scalars(
                select(Analysis).where(
                    Analysis.id == analysis_id, Analysis.tenant_id == principal.tenant_id
                )
            ).one_or_none()
        if row is None:
            raise NotFound()
        return row

    def cancel(self, principal: Principal, analysis_id: str) -> Analysis:
        """Cancel unfinished work; raise ``Conflict`` when it has already ended otherwise."""
        self.get(principal, analysis_id)
        with self._database.write() as session:
            row, now = self._locked(session, analysis_id)
            if isinstance(decision := lifecycle.cancel(state_of(row)), lifecycle.Settled):
                row.status = decision.status
                row.finished_at = now
                row.lease_until = None
                row.lease_holder = None
            elif row.status != AnalysisStatus.CANCELLED:
                raise Conflict("This analysis has already ended. Read its result or problem.")
            return row

    def claim(self, analysis_id: str, attempt: int, holder: str) -> Claim:
        """Take the work. Raises ``LeaseLost``, ``Cancelled`` or ``Erased`` when it is not yours."""
        with self._database.write() as session:
            row, now = self._locked(session, analysis_id)
            decision = lifecycle.claim(state_of(row), attempt, now, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            clip = session.get_one(Clip, row.clip_id)
            row.status = AnalysisStatus.RUNNING
            row.lease_until = decision.lease_until
            row.lease_holder = holder
            row.stage = Stage.PROBE
            row.progress = 0.0
            row.started_at = row.started_at or now
            assert clip.sha256 is not None
            assert clip.size_bytes is not None
            return Claim(
                analysis_id=row.id,
                attempt=attempt,
                crashes=row.crashes,
                lease_until=decision.lease_until,
                clip_id=clip.id,
                clip_key=clip.object_key,
                clip_sha256=clip.sha256,
                clip_size_bytes=clip.size_bytes,
                clip_media_type=clip.media_type,
                options=dict(row.options),
                result_prefix=result_prefix(row.id, attempt),
            )

    def heartbeat(
        self,
        analysis_id: str,
        attempt: int,
        stage: Stage | None = None,
        progress: float | None = None,
    ) -> datetime:
        """Extend the lease, note how far the work is; return when the lease now ends.

        Raises ``LeaseLost``, ``Cancelled`` or ``Erased``: stop and remove what was written.
        """
        with self._database.write() as session:
            row, now = self._locked(session, analysis_id)
            decision = lifecycle.extend(state_of(row), attempt, now, self.policy)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            row.lease_until = decision.lease_until
            if stage is not None:
                row.stage = stage
            if progress is not None:
                row.progress = max(row.progress, min(1.0, max(0.0, progress)))
            return decision.lease_until

    def complete(
        self,
        analysis_id: str,
        attempt: int,
        artifacts: Mapping[str, Artifact],
        *,
        facts: ClipFacts | None = None,
        headline: Mapping[str, Any] | None = None,
    ) -> None:
        """Make the results visible: one commit with the status and the event.

        Parameters
        ----------
        artifacts : mapping
            Name in the API (``result``, ``joints``, ``joints.npz``, ``events``, ``metrics``,
            ``pictures/…``) to the object already written below the attempt's prefix.
        headline : mapping or None
            A few values for the event body.
        """
        prefix = result_prefix(analysis_id, attempt) + "/"
        for name, artifact in artifacts.items():
            if not artifact.key.startswith(prefix):
                raise ValueError(f"{name} lies outside the prefix of this attempt")
        with self._database.write() as session:
            row, now = self._settle(session, analysis_id, attempt, AnalysisStatus.COMPLETED)
            row.artifacts = {name: asdict(artifact) for name, artifact in artifacts.items()}
            row.headline = dict(headline or {})
            row.progress = 1.0
            row.stage = Stage.STORE
            if facts is not None:
                session.execute(
                    update(Clip)
                    .where(Clip.id == row.clip_id)
                    .values(facts=facts.model_dump(mode="json"))
                )
            self._announce(session, now, row, "analysis.completed")

    def fail(
        self,
        analysis_id: str,
        attempt: int,
        error: ServewrightError,
        stage: Stage | None = None,
    ) -> None:
        """End the work with a problem that says what to do."""
        with self._database.write() as session:
            row, now = self._settle(session, analysis_id, attempt, AnalysisStatus.FAILED)
            self._fail(session, now, row, error, stage)

    def release(self, analysis_id: str, attempt: int) -> int:
        """Give the work back unfinished; return the attempt to enqueue next."""
        with self._database.write() as session:
            row, now = self._locked(session, analysis_id)
            decision = lifecycle.release(state_of(row), attempt)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            _requeue(row, decision, now)
            return decision.attempt

    def recover(
        self, analysis_id: str, in_queue: bool | None
    ) -> lifecycle.Requeue | lifecycle.EnqueueAgain | lifecycle.GiveUp | lifecycle.Leave:
        """Carry out what the state machine decides for an unfinished analysis.

        The caller enqueues afterwards for ``Requeue`` and ``EnqueueAgain``.
        """
        with self._database.write() as session:
            row, now = self._locked(session, analysis_id)
            decision = lifecycle.recover(state_of(row), now, self.policy, in_queue)
            if isinstance(decision, lifecycle.Requeue):
                _requeue(row, decision, now)
            elif isinstance(decision, lifecycle.EnqueueAgain):
                row.queued_at = now
            elif isinstance(decision, lifecycle.GiveUp):
                row.crashes = decision.crashes
                stage = Stage(row.stage) if row.stage else None
                row.status = AnalysisStatus.FAILED
                self._fail(session, now, row, WorkerCrashed(), stage)
            return decision

    def unfinished(self) -> list[tuple[str, lifecycle.State]]:
        """Return the analyses that are queued or running."""
        open_states = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)
        with self._database.read() as session:
            rows = session.scalars(
                select(Analysis).where(Analysis.status.in_(open_states)).order_by(Analysis.id)
            ).all()
        return [(row.id, state_of(row)) for row in rows]

    def _locked(self, session: Session, analysis_id: str) -> tuple[Analysis, datetime]:
        row = session.execute(
            select(Analysis).where(Analysis.id == analysis_id).with_for_update()
        ).scalar_one_or_none()
        if row is None:
            raise Erased()
        return row, self._database.now(session)

    def _settle(
        self, session: Session, analysis_id: str, attempt: int, status: AnalysisStatus
    ) -> tuple[Analysis, datetime]:
        row, now = self._locked(session, analysis_id)
        decision = lifecycle.settle(state_of(row), attempt, status)
        if isinstance(decision, lifecycle.Refused):
            raise decision.error
        row.status = decision.status
        row.finished_at = now
        row.lease_until = None
        row.lease_holder = None
        return row, now

    def _fail(
        self,
        session: Session,
        now: datetime,
        row: Analysis,
        error: ServewrightError,
        stage: Stage | None,
    ) -> None:
        row.finished_at = now
        row.lease_until = None
        row.lease_holder = None
        row.stage = stage or row.stage
        problem = Problem.of(error, instance=f"/v1/analyses/{row.id}", stage=stage)
        row.problem = problem.model_dump(mode="json")
        self._announce(session, now, row, "analysis.failed")

    def _announce(self, session: Session, now: datetime, row: Analysis, type: EventType) -> None:
        here = f"{self._public_url}/v1/analyses/{row.id}"
        links = {"self": here}
        if row.artifacts:
            links |= {name: f"{here}/{name}" for name in row.artifacts if "/" not in name}
        session.flush()
        emit(
            session,
            now,
            tenant_id=row.tenant_id,
            type=type,
            source=f"{self._public_url}/v1/analyses",
            subject=row.id,
            clip_id=row.clip_id,
            analysis_id=row.id,
            data=WebhookData(
                resource="analysis",
                id=row.id,
                status=AnalysisStatus(row.status),
                clip_id=row.clip_id,
                external_ref=row.external_ref,
                links=links,
                headline=row.headline,
                problem=Problem.model_validate(row.problem) if row.problem else None,
            ),
        )


def _requeue(row: Analysis, decision: lifecycle.Requeue, now: datetime) -> None:
    row.status = AnalysisStatus.QUEUED
    row.attempt = decision.attempt
    row.crashes = decision.crashes
    row.queued_at = now
    row.lease_until = None
    row.lease_holder = None
    row.progress = 0.0
