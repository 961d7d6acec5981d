"""The entry point that RQ calls: claim, fetch, run, store, commit. Nothing else.

Delivery is at least once. Every write goes below a prefix that belongs to this attempt, and one
fenced commit makes the result visible together with its event, so a job that runs twice leaves one
result. Whoever finds that the work is no longer his removes what he wrote.
"""

from __future__ import annotations

import hashlib
import logging
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rq.timeouts import JobTimeoutException

from models.contract.clip import ClipFacts
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
from models.contract.resources import AnalysisOptions
from models.contract.vocabulary import Stage
from service.core.analyses import Artifact, Claim
from service.core.objects import ObjectMissing
from service.core.settings import Settings
from service.core.wiring import Wiring, wire
from workers import pipeline
from workers.artefacts import headline, result_files
from workers.configured import shared_stages
from workers.lease import Lease
from workers.options import engine_request
from workers.progress import STAGE_SHARES

LOG = logging.getLogger(__name__)

_COPY = 1 << 20
OPERATORS_AFFAIR = 500

ChooseStages = Callable[[tuple[str, ...] | None], pipeline.Stages]
"""Returns the stages with the named pose networks; None = the operator's choice."""


def run_analysis(analysis_id: str, attempt: int) -> None:
    """Run one attempt of one analysis."""
    settings = Settings()
    wiring = wire(settings)
    try:
        work(wiring, analysis_id, attempt, lambda models: shared_stages(settings, models))
    finally:
        wiring.close()


def work(wiring: Wiring, analysis_id: str, attempt: int, stages: ChooseStages) -> None:
    """Run one attempt with these adapters and stages. Returns when nothing is left to do.

    Film and model errors end the analysis with a problem; work that was taken over, cancelled or
    erased ends quietly.
    """
    try:
        claim = wiring.analyses.claim(analysis_id, attempt, wiring.holder)
    except (LeaseLost, Cancelled, Erased) as error:
        LOG.info("%s attempt %d not started: %s", analysis_id, attempt, error.code)
        return
    LOG.info("%s attempt %d started", analysis_id, attempt)

    def renew(stage: Stage | None, progress: float | None) -> object:
        return wiring.analyses.heartbeat(analysis_id, attempt, stage, progress)

    with Lease(renew, wiring.settings.heartbeat_s) as lease:
        try:
            with _as_typed_errors():
                _analyse(wiring, claim, lease, stages)
        except (LeaseLost, Cancelled, Erased) as error:
            LOG.info("%s attempt %d given up: %s", analysis_id, attempt, error.code)
            _discard(wiring, claim)
        except ServewrightError as error:
            _fail(wiring, claim, lease, error)
        else:
            LOG.info("%s attempt %d completed", analysis_id, attempt)


def _analyse(wiring: Wiring, claim: Claim, lease: Lease, stages: ChooseStages) -> None:
    lease(Stage.PROBE, 0.0)
    options = AnalysisOptions.model_validate(claim.options)
    with tempfile.TemporaryDirectory(prefix="servewright-") as folder:
        film = Path(folder) / "film"
        lease.patiently(lambda: _fetch(wiring, claim, film))
        result = pipeline.run(
            film,
            engine_request(options, seed=wiring.settings.engine_seed),
            stages(options.models),
            report=lease,
            sha256=claim.clip_sha256,
        )
    artifacts: dict[str, Artifact] = {}
    files = list(result_files(result))
    for number, file in enumerate(files):
        lease(Stage.STORE, _stored(number, len(files)))
        key = f"{claim.result_prefix}/{file.path}"
        lease.patiently(lambda k=key, f=file: wiring.objects.put_bytes(k, f.data, f.media_type))  # type: ignore[misc]
        artifacts[file.name] = Artifact(
            key, hashlib.sha256(file.data).hexdigest(), len(file.data), file.media_type
        )
    facts: ClipFacts = result.analysis.clip
    lease.patiently(
        lambda: wiring.analyses.complete(
            claim.analysis_id,
            claim.attempt,
            artifacts,
            facts=facts,
            headline=headline(result.analysis),
        )
    )


def _stored(number: int, total: int) -> float:
    first = 1.0 - STAGE_SHARES[Stage.STORE]
    return first + (1.0 - first) * number / max(1, total)


def _fetch(wiring: Wiring, claim: Claim, film: Path) -> None:
    """Copy the clip here and check that it is the film that was uploaded."""
    try:
        wiring.objects.fetch(claim.clip_key, film)
    except ObjectMissing as error:
        raise ClipDamaged(
            "The stored film is missing from the object store. Upload the clip again."
        ) from error
    digest = hashlib.sha256()
    with film.open("rb") as source:
        while piece := source.read(_COPY):
            digest.update(piece)
    if digest.hexdigest() != claim.clip_sha256:
        raise ClipDamaged(
            "The stored film is no longer the one that was uploaded (its SHA-256 differs). Upload "
            "the clip again."
        )


def _fail(wiring: Wiring, claim: Claim, lease: Lease, error: ServewrightError) -> None:
    """State the error on the analysis; the same commit writes the event."""
    named = error.extra.get("stage")
    stage = Stage(named) if named else lease.stage
    # What is wrong with a film is its owner's affair; the rest is the operator's, with a trace.
    trace = error if error.status >= OPERATORS_AFFAIR else None
    LOG.warning(
        "%s attempt %d failed: %s", claim.analysis_id, claim.attempt, error.code, exc_info=trace
    )
    _discard(wiring, claim)
    try:
        lease.patiently(
            lambda: wiring.analyses.fail(claim.analysis_id, claim.attempt, error, stage)
        )
    except (LeaseLost, Cancelled, Erased) as lost:
        LOG.info("%s attempt %d given up: %s", claim.analysis_id, claim.attempt, lost.code)


def _discard(wiring: Wiring, claim: Claim) -> None:
    """Remove what this attempt wrote; the sweep of the service catches what stays."""
    with suppress(DependencyError):
        wiring.objects.delete_prefix(claim.result_prefix)


@contextmanager
def _as_typed_errors() -> Iterator[None]:
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
