"""Queued work in the database: every change of state goes through here.

Each method locks the row, asks :mod:`service.core.lifecycle` for a decision and carries it out in
one transaction. Workers use :meth:`~WorkStore.heartbeat`, :meth:`~WorkStore.complete`,
:meth:`~WorkStore.fail`, :meth:`~WorkStore.release` and the ``claim`` of the store at hand.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import Conflict, Erased, NotFound, ServewrightError, WorkerCrashed
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, Stage
from models.contract.webhook import EventType
from service.core import lifecycle
from service.core.access import Principal
from service.core.database import Database
from service.core.tables import Analysis, DerivedDocument

Row = TypeVar("Row", Analysis, DerivedDocument)


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A result file in the object store, under its name in the API (``joints.npz``)."""

    key: str
    sha256: str
    size_bytes: int
    media_type: str


def state_of(row: Analysis | DerivedDocument) -> lifecycle.State:
    """Return the facts that decisions are made by."""
    return lifecycle.State(
        AnalysisStatus(row.status), row.attempt, row.crashes, row.queued_at, row.lease_until
    )


def as_new(now: datetime) -> dict[str, Any]:
    """Return the columns of work that was just accepted."""
    return {
        "created_at": now,
        "status": AnalysisStatus.QUEUED,
        "progress": 0.0,
        "attempt": 1,
        "crashes": 0,
        "queued_at": now,
        "artifacts": {},
        "headline": {},
    }


class WorkStore(ABC, Generic[Row]):
    """Moves the rows of one table through their life.

    Parameters
    ----------
    public_url : str
        Base of the links in events; empty = relative links.
    """

    table: type[Row]
    noun: str

    def __init__(self, database: Database, policy: lifecycle.Policy, public_url: str = "") -> None:
        self._database = database
        self.policy = policy
        self._public_url = public_url.rstrip("/")

    @abstractmethod
    def root(self, work_id: str) -> str:
        """Return the prefix below which all attempts of this work write."""

    @abstractmethod
    def address(self, row: Row) -> str:
        """Return the path of the resource in the API."""

    @abstractmethod
    def _announce(self, session: Session, now: datetime, row: Row) -> None:
        """Write the event that tells of the end of the work."""

    def prefix(self, work_id: str, attempt: int) -> str:
        """Return the prefix below which one attempt writes."""
        return f"{self.root(work_id)}/{attempt}"

    def get(self, principal: Principal, work_id: str) -> Row:
        """Return a row of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            row = session.scalars(
                select(self.table).where(
                    self.table.id == work_id, self.table.tenant_id == principal.tenant_id
                )
            ).one_or_none()
        if row is None:
            raise NotFound()
        return row

    def cancel(self, principal: Principal, work_id: str) -> Row:
        """Cancel unfinished work; raise ``Conflict`` when it has already ended otherwise."""
        self.get(principal, work_id)
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            if isinstance(decision := lifecycle.cancel(state_of(row)), lifecycle.Settled):
                row.status = decision.status
                _end(row, now)
            elif row.status != AnalysisStatus.CANCELLED:
                raise Conflict(f"This {self.noun} has already ended. Read its result or problem.")
            return row

    def _claim(self, session: Session, work_id: str, attempt: int, holder: str) -> Row:
        """Take the work. Raises ``LeaseLost``, ``Cancelled`` or ``Erased`` when it is not yours."""
        row, now = self._locked(session, work_id)
        decision = lifecycle.claim(state_of(row), attempt, now, self.policy)
        if isinstance(decision, lifecycle.Refused):
            raise decision.error
        row.status = AnalysisStatus.RUNNING
        row.lease_until = decision.lease_until
        row.lease_holder = holder
        row.stage = Stage.PROBE
        row.progress = 0.0
        row.started_at = row.started_at or now
        return row

    def heartbeat(
        self,
        work_id: str,
        attempt: int,
        stage: Stage | None = None,
        progress: float | None = None,
    ) -> datetime:
        """Extend the lease, note how far the work is; return when the lease now ends.

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
            return decision.lease_until

    def complete(
        self,
        work_id: str,
        attempt: int,
        artifacts: Mapping[str, StoredFile],
        *,
        headline: Mapping[str, Any] | None = None,
    ) -> None:
        """Make the results visible: one commit with the status and the event.

        Parameters
        ----------
        artifacts : mapping
            Name in the API (``result``, ``report.html``, ``pictures/…``, …) to the object already
            written below the attempt's prefix.
        headline : mapping or None
            A few values for the event body.
        """
        self._check(work_id, attempt, artifacts)
        with self._database.write() as session:
            self._complete(session, work_id, attempt, artifacts, headline)

    def _check(self, work_id: str, attempt: int, artifacts: Mapping[str, StoredFile]) -> None:
        prefix = self.prefix(work_id, attempt) + "/"
        for name, artifact in artifacts.items():
            if not artifact.key.startswith(prefix):
                raise ValueError(f"{name} lies outside the prefix of this attempt")

    def _complete(
        self,
        session: Session,
        work_id: str,
        attempt: int,
        artifacts: Mapping[str, StoredFile],
        headline: Mapping[str, Any] | None,
    ) -> Row:
        row, now = self._settle(session, work_id, attempt, AnalysisStatus.COMPLETED)
        row.artifacts = {name: asdict(artifact) for name, artifact in artifacts.items()}
        row.headline = dict(headline or {})
        row.progress = 1.0
        row.stage = Stage.STORE
        session.flush()
        self._announce(session, now, row)
        return row

    def fail(
        self, work_id: str, attempt: int, error: ServewrightError, stage: Stage | None = None
    ) -> None:
        """End the work with a problem that says what to do."""
        with self._database.write() as session:
            row, now = self._settle(session, work_id, attempt, AnalysisStatus.FAILED)
            self._fail(session, now, row, error, stage)

    def release(self, work_id: str, attempt: int) -> int:
        """Give the work back unfinished; return the attempt to enqueue next."""
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
            decision = lifecycle.release(state_of(row), attempt)
            if isinstance(decision, lifecycle.Refused):
                raise decision.error
            _requeue(row, decision, now)
            return decision.attempt

    def recover(
        self, work_id: str, in_queue: bool | None
    ) -> lifecycle.Requeue | lifecycle.EnqueueAgain | lifecycle.GiveUp | lifecycle.Leave:
        """Carry out what the state machine decides for unfinished work.

        The caller enqueues afterwards for ``Requeue`` and ``EnqueueAgain``.
        """
        with self._database.write() as session:
            row, now = self._locked(session, work_id)
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
        """Return the work that is queued or running."""
        open_states = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)
        with self._database.read() as session:
            rows = session.scalars(
                select(self.table).where(self.table.status.in_(open_states)).order_by(self.table.id)
            ).all()
        return [(row.id, state_of(row)) for row in rows]

    def _locked(self, session: Session, work_id: str) -> tuple[Row, datetime]:
        row = session.execute(
            select(self.table).where(self.table.id == work_id).with_for_update()
        ).scalar_one_or_none()
        if row is None:
            raise Erased()
        return row, self._database.now(session)

    def _settle(
        self, session: Session, work_id: str, attempt: int, status: AnalysisStatus
    ) -> tuple[Row, datetime]:
        row, now = self._locked(session, work_id)
        decision = lifecycle.settle(state_of(row), attempt, status)
        if isinstance(decision, lifecycle.Refused):
            raise decision.error
        row.status = decision.status
        _end(row, now)
        return row, now

    def _fail(
        self,
        session: Session,
        now: datetime,
        row: Row,
        error: ServewrightError,
        stage: Stage | None,
    ) -> None:
        _end(row, now)
        row.stage = stage or row.stage
        problem = Problem.of(error, instance=self.address(row), stage=stage)
        row.problem = problem.model_dump(mode="json")
        session.flush()
        self._announce(session, now, row)

    def _links(self, row: Row) -> dict[str, str]:
        """Return the links of an event: the resource and its results."""
        here = f"{self._public_url}{self.address(row)}"
        links = {"self": here}
        if row.artifacts:
            links |= {name: f"{here}/{name}" for name in row.artifacts if "/" not in name}
        return links


def event_type(kind: str, row: Analysis | DerivedDocument) -> EventType:
    """Return the type of the event that tells of the end of some work."""
    ended = "completed" if row.status == AnalysisStatus.COMPLETED else "failed"
    return f"{kind}.{ended}"  # type: ignore[return-value]


def _end(row: Analysis | DerivedDocument, now: datetime) -> None:
    row.finished_at = now
    row.lease_until = None
    row.lease_holder = None


def _requeue(row: Analysis | DerivedDocument, decision: lifecycle.Requeue, now: datetime) -> None:
    row.status = AnalysisStatus.QUEUED
    row.attempt = decision.attempt
    row.crashes = decision.crashes
    row.queued_at = now
    row.lease_until = None
    row.lease_holder = None
    row.progress = 0.0
