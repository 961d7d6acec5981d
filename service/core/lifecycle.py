"""The life of an analysis as a pure state machine: facts in, immutable decisions out.

::

    queued ──claim──▶ running ──settle──▶ completed | failed
      ▲  ╲               │  ╲
      │   ╲──cancel──────┼───╲──────────▶ cancelled
      └──release / lease lapsed (attempt + 1)

Rules. ``attempt`` is the fencing token: whoever holds an older one may not write. A lease that
lapses counts as a crash; at ``max_crashes`` the analysis fails with ``worker_crashed``. A release
(a worker that shuts down in good order) does not count. Nothing leaves a final status.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from models.contract.errors import Cancelled, LeaseLost, ServewrightError
from models.contract.vocabulary import AnalysisStatus

FINAL = frozenset({AnalysisStatus.COMPLETED, AnalysisStatus.FAILED, AnalysisStatus.CANCELLED})


@dataclass(frozen=True, slots=True)
class State:
    """What the database says about one analysis."""

    status: AnalysisStatus
    attempt: int
    crashes: int
    queued_at: datetime
    lease_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Policy:
    """Limits that the decisions are made by, seconds."""

    lease_s: float = 20.0
    max_crashes: int = 3
    requeue_after_s: float = 30.0


@dataclass(frozen=True, slots=True)
class Claimed:
    """The work is yours until ``lease_until``."""

    attempt: int
    lease_until: datetime


@dataclass(frozen=True, slots=True)
class Extended:
    """The lease runs on."""

    lease_until: datetime


@dataclass(frozen=True, slots=True)
class Refused:
    """You may not; ``error`` says why and is what a worker raises."""

    error: ServewrightError


@dataclass(frozen=True, slots=True)
class Settled:
    """The result may be written."""

    status: AnalysisStatus


@dataclass(frozen=True, slots=True)
class Requeue:
    """Hand the work out again under a new attempt."""

    attempt: int
    crashes: int


@dataclass(frozen=True, slots=True)
class EnqueueAgain:
    """The queue lost it: send the same attempt again."""

    attempt: int


@dataclass(frozen=True, slots=True)
class GiveUp:
    """Fail it: it has taken too many workers down."""

    crashes: int


@dataclass(frozen=True, slots=True)
class Leave:
    """Nothing to do."""


def claim(state: State, attempt: int, now: datetime, policy: Policy) -> Claimed | Refused:
    """Decide whether a worker that got ``attempt`` from the queue may begin."""
    if state.status is AnalysisStatus.CANCELLED:
        return Refused(Cancelled())
    if state.status is not AnalysisStatus.QUEUED or state.attempt != attempt:
        return Refused(LeaseLost())
    return Claimed(attempt, now + timedelta(seconds=policy.lease_s))


def extend(state: State, attempt: int, now: datetime, policy: Policy) -> Extended | Refused:
    """Decide whether a running attempt may go on.

    A lease that has lapsed but that nobody took over is renewed: the work is still good.
    """
    held = _held(state, attempt)
    return held or Extended(now + timedelta(seconds=policy.lease_s))


def settle(state: State, attempt: int, status: AnalysisStatus) -> Settled | Refused:
    """Decide whether an attempt may write its outcome, ``completed`` or ``failed``."""
    if status not in (AnalysisStatus.COMPLETED, AnalysisStatus.FAILED):
        raise ValueError(f"an attempt cannot end as {status}")
    return _held(state, attempt) or Settled(status)


def release(state: State, attempt: int) -> Requeue | Refused:
    """Decide what becomes of work whose worker stops in good order."""
    return _held(state, attempt) or Requeue(state.attempt + 1, state.crashes)


def crashed(state: State, attempt: int, policy: Policy) -> Requeue | GiveUp | Refused:
    """Decide what becomes of work that something from outside broke off."""
    held = _held(state, attempt)
    if held is not None:
        return held
    crashes = state.crashes + 1
    if crashes >= policy.max_crashes:
        return GiveUp(crashes)
    return Requeue(state.attempt + 1, crashes)


def cancel(state: State) -> Settled | Leave:
    """Decide whether there is anything left to cancel."""
    return Leave() if state.status in FINAL else Settled(AnalysisStatus.CANCELLED)


def recover(
    state: State, now: datetime, policy: Policy, in_queue: bool | None
) -> Requeue | EnqueueAgain | GiveUp | Leave:
    """Decide what the reconciler does with an unfinished analysis.

    Parameters
    ----------
    in_queue : bool or None
        Whether the queue knows the job; None when the queue does not answer.
    """
    if state.status is AnalysisStatus.RUNNING:
        if state.lease_until is not None and state.lease_until > now:
            return Leave()
        crashes = state.crashes + 1
        if crashes >= policy.max_crashes:
            return GiveUp(crashes)
        return Requeue(state.attempt + 1, crashes)
    if state.status is AnalysisStatus.QUEUED:
        waited = (now - state.queued_at).total_seconds()
        if in_queue is False and waited >= policy.requeue_after_s:
            return EnqueueAgain(state.attempt)
    return Leave()


def _held(state: State, attempt: int) -> Refused | None:
    """Return the refusal when the attempt no longer owns the work."""
    if state.status is AnalysisStatus.CANCELLED:
        return Refused(Cancelled())
    if state.status is not AnalysisStatus.RUNNING or state.attempt != attempt:
        return Refused(LeaseLost())
    return None
