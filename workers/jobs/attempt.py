"""One attempt at some queued work: hold the lease, do it, commit or state the error.

Delivery is at least once. Every write goes below a prefix that belongs to this attempt, and one
fenced commit makes the result visible together with its event, so a job that runs twice leaves one
result. Whoever finds that the work is no longer his removes what he wrote.
"""

from __future__ import annotations

import errno
import hashlib
import logging
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from rq.timeouts import JobTimeoutException

from models.contract.errors import (
    Cancelled,
    DecodeLimitExceeded,
    DecoderStopped,
    DependencyError,
    Erased,
    Internal,
    JobTimedOut,
    LeaseLost,
    QueueUnavailable,
    ServewrightError,
    StoredFilmLost,
    WorkingSpaceFull,
)
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import Stage
from service.core.claims import Claim, StoredFile, StoredFilm
from service.core.jobs import Attempt
from service.core.logs import log_about
from service.core.objects import ObjectMissing
from service.core.reach import Reach, reaching
from service.core.wiring import Wiring
from workers.jobs.lease import Lease
from workers.jobs.making import Maker
from workers.jobs.metering import ProcessorMeter
from workers.jobs.tallying import tally
from workers.jobs.traced import trace_end, traced
from workers.pipeline.progress import STAGE_SHARES
from workers.pipeline.result_files import ResultFile
from workers.pipeline.time_left import TimeLeft

LOG = logging.getLogger(__name__)

_COPY = 1 << 20
"""Bytes that are copied at a time."""
OPERATORS_AFFAIR = 500
"""HTTP status from which an error is for the operator, and logged with its trace."""


def run_attempt(wiring: Wiring, attempt: Attempt, make: Maker) -> None:
    """Run one attempt. Returns when nothing is left to do.

    Errors of our tree end the work with a problem; work that was taken over, cancelled or erased
    ends quietly. What the machine did is not held against the film: a full disk or a store that
    is away is waited for (and when the time of the job is over, the work goes back to the queue);
    a decoder that somebody ended is tried again as a crash is.

    Parameters
    ----------
    make : Maker
        Makes the results of this kind of work.
    """
    with log_about(work_id=attempt.work_id, attempt=str(attempt.number)):
        _run(wiring, attempt, make)


def _run(wiring: Wiring, attempt: Attempt, make: Maker) -> None:
    name = f"{attempt.work_id} attempt {attempt.number}"
    meter = ProcessorMeter()
    try:
        claim = wiring.work.claim(attempt.kind, attempt.work_id, attempt.number, wiring.holder)
    except (LeaseLost, Cancelled, Erased) as error:
        LOG.info("%s not started: %s", name, error.code)
        return

    def renew(stage: Stage | None, progress: float | None, time_left_s: float | None) -> object:
        return wiring.work.heartbeat(claim.work_id, claim.attempt, stage, progress, time_left_s)

    # Nothing that is done for one organisation can touch another.
    with (
        log_about(tenant_id=claim.tenant_id),
        reaching(Reach(claim.tenant_id)),
        traced(wiring, claim) as span,
        Lease(renew, wiring.settings.heartbeat_s) as lease,
    ):
        LOG.info("%s started", name)
        outcome = "completed"
        try:
            with as_typed_errors():
                lease.patiently(lambda: _make_and_commit(wiring, claim, lease, make, meter))
        except (LeaseLost, Cancelled, Erased) as error:
            outcome = error.code
            LOG.info("%s given up: %s", name, error.code)
            _discard(wiring, claim)
        except DecoderStopped as error:
            outcome = error.code
            _try_again(wiring, claim, lease, error, meter)
        except JobTimedOut as error:
            outcome = error.code
            if lease.waits_for is None:
                _fail(wiring, claim, lease, error, meter)
            else:
                _hand_back(wiring, claim, lease.waits_for)
        except ServewrightError as error:
            outcome = error.code
            _fail(wiring, claim, lease, error, meter)
        else:
            LOG.info("%s completed", name)
        tally(wiring, claim, lease, outcome)
        trace_end(wiring, span, lease, outcome)


def _try_again(
    wiring: Wiring, claim: Claim, lease: Lease, error: DecoderStopped, meter: ProcessorMeter
) -> None:
    """Send the work out again, or state the error when it was broken off too often."""
    LOG.warning("%s attempt %d was broken off: %s", claim.work_id, claim.attempt, error.code)
    _discard(wiring, claim)
    with suppress(LeaseLost, Cancelled, Erased):
        following = lease.patiently(
            lambda: wiring.work.broken_off(
                claim.work_id, claim.attempt, error, lease.stage, meter.spent_s()
            )
        )
        if following is not None:
            _enqueue(wiring, claim.work_id, following)


def _hand_back(wiring: Wiring, claim: Claim, reason: DependencyError) -> None:
    """Give work back that waited for a part of the service until its time was over."""
    LOG.warning("%s goes back to the queue: %s", claim.work_id, reason.code)
    _discard(wiring, claim)
    try:
        _enqueue(wiring, claim.work_id, wiring.work.release(claim.work_id, claim.attempt))
    except (LeaseLost, Cancelled, Erased, DependencyError) as error:
        LOG.info("%s not handed back: %s", claim.work_id, error.code)  # then the lease lapses


def _enqueue(wiring: Wiring, work_id: str, attempt: int) -> None:
    try:
        wiring.queue.enqueue(work_id, attempt)
    except QueueUnavailable:  # the reconciler finds it queued and unknown
        LOG.warning("queue unavailable; %s stays queued", work_id)


def _make_and_commit(
    wiring: Wiring, claim: Claim, lease: Lease, make: Maker, meter: ProcessorMeter
) -> None:
    """Make the results, store them and commit; a full disk is told as such."""
    try:
        _make(wiring, claim, lease, make, meter)
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise WorkingSpaceFull() from error
        raise


def _make(wiring: Wiring, claim: Claim, lease: Lease, make: Maker, meter: ProcessorMeter) -> None:
    """Make the results, store them and commit."""
    with tempfile.TemporaryDirectory(prefix="servewright-") as folder:
        made = make(wiring, claim, lease, Path(folder))
    artifacts = _put_files(wiring, claim, lease, made.files)
    lease.patiently(
        lambda: wiring.work.complete(
            claim.work_id,
            claim.attempt,
            artifacts,
            headline=made.headline,
            facts=made.facts,
            processor_s=meter.spent_s(),
        )
    )
    if made.time_left is not None:
        _learn(wiring, made.time_left)


def _learn(wiring: Wiring, left: TimeLeft) -> None:
    """Remember what the analysis has cost; a lesson lost harms nothing."""
    left.end()
    try:
        wiring.costs.learn(left.spent)
    except Exception:
        LOG.warning("the costs of an analysis could not be noted", exc_info=True)


def _put_files(
    wiring: Wiring, claim: Claim, lease: Lease, files: Sequence[ResultFile]
) -> dict[str, StoredFile]:
    """Write result files below the attempt's prefix; return them by name."""
    artifacts: dict[str, StoredFile] = {}
    for number, file in enumerate(files):
        lease(Stage.STORE, _stored(number, len(files)))
        key = f"{claim.result_prefix}/{file.path}"
        lease.patiently(lambda k=key, f=file: wiring.objects.put_bytes(k, f.data, f.media_type))  # type: ignore[misc]
        artifacts[file.name] = StoredFile(
            key,
            hashlib.sha256(file.data).hexdigest(),
            len(file.data),
            file.media_type,
            file.schema,
        )
    return artifacts


def _stored(number: int, total: int) -> float:
    first = 1.0 - STAGE_SHARES[Stage.STORE]
    return first + (1.0 - first) * number / max(1, total)


def fetch_film(wiring: Wiring, clip: StoredFilm, film: Path) -> None:
    """Copy a clip here and check that it is the film that was uploaded."""
    try:
        wiring.objects.fetch(clip.key, film)
    except ObjectMissing as error:
        raise StoredFilmLost(say(NoteCode.STORED_FILM_MISSING)) from error
    digest = hashlib.sha256()
    with film.open("rb") as source:
        while piece := source.read(_COPY):
            digest.update(piece)
    if digest.hexdigest() != clip.sha256:
        raise StoredFilmLost(say(NoteCode.STORED_FILM_DIFFERS))


def _fail(
    wiring: Wiring, claim: Claim, lease: Lease, error: ServewrightError, meter: ProcessorMeter
) -> None:
    """State the error on the work; the same commit writes the event."""
    name = f"{claim.work_id} attempt {claim.attempt}"
    named = error.extra.get("stage")
    stage = Stage(named) if named else lease.stage
    # What is wrong with a film is its owner's affair; the rest is the operator's, with a trace.
    trace = error if error.status >= OPERATORS_AFFAIR else None
    LOG.warning(
        "%s attempt %d failed: %s", claim.work_id, claim.attempt, error.code, exc_info=trace
    )
    _discard(wiring, claim)
    try:
        lease.patiently(
            lambda: wiring.work.fail(claim.work_id, claim.attempt, error, stage, meter.spent_s())
        )
    except (LeaseLost, Cancelled, Erased) as lost:
        LOG.info("%s given up: %s", name, lost.code)


def _discard(wiring: Wiring, claim: Claim) -> None:
    """Remove what this attempt wrote; the sweep of the service catches what stays."""
    with suppress(DependencyError):
        wiring.objects.delete_prefix(claim.result_prefix)


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
        raise DecodeLimitExceeded(say(NoteCode.MEMORY_SHORT)) from error
    except Exception as error:
        raise Internal() from error
