"""What those who run the installation see of it: queues, workers, work of all organisations."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import Links
from models.contract.vocabulary import AnalysisStatus, Stage, WorkKind


class Lane(StrEnum):
    """The queues of the installation. Short work has workers of its own: it never waits for long.

    A worker reads one queue only, so a lane is a queue.
    """

    LONG = "long"
    """Work that decodes films: minutes."""
    SHORT = "short"
    """Work on stored results: a second or so."""


class QueueState(Document):
    """One queue. long: work that decodes films; short: work on stored results."""

    lane: Lane
    queued: int = Field(ge=0, description="Work that waits.")
    running: int = Field(ge=0, description="Work that a worker holds.")
    lapsed: int = Field(ge=0, description="Of these, work whose worker is gone or hangs.")
    in_redis: int | None = Field(
        default=None, description="Attempts listed in Redis; null while it does not answer."
    )
    oldest_s: float = Field(ge=0.0, description="Seconds that the oldest work has waited.")


class WorkerInfo(Document):
    """One worker process, as it last told Redis."""

    name: str
    lane: Lane
    host: str
    pid: int | None = None
    busy: bool
    work_id: str | None = None
    seen_at: datetime | None = Field(default=None, description="Its last sign of life.")


class InstallationState(Document):
    """What goes on in the installation."""

    queues: tuple[QueueState, ...]
    workers: tuple[WorkerInfo, ...] | None = Field(
        default=None, description="null while Redis does not answer."
    )
    webhooks_pending: int = Field(ge=0)
    webhook_lag_s: float = Field(ge=0.0, description="Age of the oldest event that waits.")
    endpoints_disabled: int = Field(ge=0)
    erasures_under_way: int = Field(ge=0)


class OperatedWork(Document):
    """A piece of work without anything of what it is about."""

    id: str
    organisation_id: str
    kind: WorkKind
    status: AnalysisStatus
    stage: Stage | None = None
    attempt: int
    crashes: int
    created_at: datetime
    queued_at: datetime
    started_at: datetime | None = None
    finished_at: datetime | None = None
    lease_until: datetime | None = None
    lease_holder: str | None = Field(default=None, description="Host and process of its worker.")
    problem_code: str | None = None
    links: Links = Field(default_factory=dict)


class OperatedWorkPage(Document):
    """One page of work of all organisations, newest first."""

    items: tuple[OperatedWork, ...]
    next_cursor: str | None = None
