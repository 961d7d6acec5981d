"""One attempt at some queued work: hold the lease, do it, commit or state the error.

Delivery is at least once. Every write goes below a prefix that belongs to this attempt, and one
fenced commit makes the result visible together with its event, so a job that runs twice leaves one
result. Whoever finds that the work is no longer his removes what he wrote.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Protocol, TypeVar

from rq.timeouts import JobTimeoutException

from models.contract.errors import (
    Cancelled,
    ClipDamaged,
    DecodeLimitExceeded,
    DependencyError,
    Erased,
    Internal,
    JobTimedOut,
    LeaseLost,
    ServewrightError,
)
from models.contract.vocabulary import Stage
from service.core.analyses import AnalysisStore
from service.core.documents import DocumentStore
from service.core.objects import ObjectMissing
from service.core.wiring import Wiring
from service.core.work import StoredFile
from workers.jobs.lease import Lease
from workers.pipeline.progress import STAGE_SHARES
from workers.pipeline.result_files import ResultFile

LOG = logging.getLogger(__name__)

_COPY = 1 << 20
OPERATORS_AFFAIR = 500


class Claimed(Protocol):
    """Work that is ours."""

    @property
    def attempt(self) -> int:
        """Fencing token."""

    @property
    def result_prefix(self) -> str:
        """Where this attempt may write."""


C = TypeVar("C", bound=Claimed)


def run_attempt(
    wiring: Wiring,
    store: AnalysisStore | DocumentStore,
    work_id: str,
    attempt: int,
    claim: Callable[[str, int, str], C],
    body: Callable[[C, Lease], None],
) -> None:
    """Run one attempt. Returns when nothing is left to do.

    Errors of our tree end the work with a problem; work that was taken over, cancelled or erased
    ends quietly.

    Parameters
    ----------
    claim : callable
        The store's ``claim``.
    body : callable
        Does the work and completes it.
    """
    try:
        claimed = claim(work_id, attempt, wiring.holder)
    except (LeaseLost, Cancelled, Erased) as error:
        LOG.info("%s attempt %d not started: %s", work_id, attempt, error.code)
        return
    LOG.info("%s attempt %d started", work_id, attempt)

    def renew(stage: Stage | None, progress: float | None) -> object:
        return store.heartbeat(work_id, attempt, stage, progress)

    with Lease(renew, wiring.settings.heartbeat_s) as lease:
        try:
            with as_typed_errors():
                body(claimed, lease)
        except (LeaseLost, Cancelled, Erased) as error:
            LOG.info("%s attempt %d given up: %s", work_id, attempt, error.code)
            _discard(wiring, claimed)
        except ServewrightError as error:
            _fail(wiring, store, work_id, claimed, lease, error)
        else:
            LOG.info("%s attempt %d completed", work_id, attempt)


def put_files(
    wiring: Wiring, claimed: Claimed, lease: Lease, files: Iterable[ResultFile]
) -> dict[str, StoredFile]:
    """Write result files below the attempt's prefix; return them by name."""
    artifacts: dict[str, StoredFile] = {}
    listed = list(files)
    for number, file in enumerate(listed):
        lease(Stage.STORE, _stored(number, len(listed)))
        key = f"{claimed.result_prefix}/{file.path}"
        lease.patiently(lambda k=key, f=file: wiring.objects.put_bytes(k, f.data, f.media_type))  # type: ignore[misc]
        artifacts[file.name] = StoredFile(
            key, hashlib.sha256(file.data).hexdigest(), len(file.data), file.media_type
        )
    return artifacts


def _stored(number: int, total: int) -> float:
    first = 1.0 - STAGE_SHARES[Stage.STORE]
    return first + (1.0 - first) * number / max(1, total)


def fetch_film(wiring: Wiring, key: str, sha256: str, film: Path) -> None:
    """Copy a clip here and check that it is the film that was uploaded."""
    try:
        wiring.objects.fetch(key, film)
    except ObjectMissing as error:
        raise ClipDamaged(
            "The stored film is missing from the object store. Upload the clip again."
        ) from error
    digest = hashlib.sha256()
    with film.open("rb") as source:
        while piece := source.read(_COPY):
            digest.update(piece)
    if digest.hexdigest() != sha256:
        raise ClipDamaged(
            "The stored film is no longer the one that was uploaded (its SHA-256 differs). Upload "
            "the clip again."
        )


def _fail(
    wiring: Wiring,
    store: AnalysisStore | DocumentStore,
    work_id: str,
    claimed: Claimed,
    lease: Lease,
    error: ServewrightError,
) -> None:
    """State the error on the work; the same commit writes the event."""
    named = error.extra.get("stage")
    stage = Stage(named) if named else lease.stage
    # What is wrong with a film is its owner's affair; the rest is the operator's, with a trace.
    trace = error if error.status >= OPERATORS_AFFAIR else None
    LOG.warning("%s attempt %d failed: %s", work_id, claimed.attempt, error.code, exc_info=trace)
    _discard(wiring, claimed)
    try:
        lease.patiently(lambda: store.fail(work_id, claimed.attempt, error, stage))
    except (LeaseLost, Cancelled, Erased) as lost:
        LOG.info("%s attempt %d given up: %s", work_id, claimed.attempt, lost.code)


def _discard(wiring: Wiring, claimed: Claimed) -> None:
    """Remove what this attempt wrote; the sweep of the service catches what stays."""
    with suppress(DependencyError):
        wiring.objects.delete_prefix(claimed.result_prefix)


@contextmanager
def as_typed_errors() -> Iterator[None]:
    """Turn whatever escapes into an error of our tree."""
    try:
        yield
    except ServewrightError:
        raise
    except JobTimeoutException as error:
        raise JobTimedOut() from error
    except MemoryError as error:
        raise DecodeLimitExceeded(
            "The analysis needed more memory than there is. Film at 1080p, or trim the clip."
        ) from error
    except Exception as error:
        raise Internal() from error
