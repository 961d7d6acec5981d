"""The analysis of a film: fetch it, run the pipeline, store what it gives."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from models.contract.analysis import MINOR_CAUTIONS
from models.contract.resources import AnalysisOptions
from models.contract.vocabulary import Stage
from models.words import catalogue
from service.core.analyses import Claim
from service.core.wiring import Wiring
from workers.jobs.attempt import fetch_film, put_files, run_attempt
from workers.jobs.lease import Lease
from workers.pipeline import run as pipeline
from workers.pipeline.options import engine_request
from workers.pipeline.result_files import headline, result_files

ChooseStages = Callable[[tuple[str, ...] | None], pipeline.StageFunctions]
"""Returns the stages with the named pose networks; None = the operator's choice."""


def work(wiring: Wiring, analysis_id: str, attempt: int, stages: ChooseStages) -> None:
    """Run one attempt with these adapters and stages."""
    run_attempt(
        wiring,
        wiring.analyses,
        analysis_id,
        attempt,
        wiring.analyses.claim,
        lambda claim, lease: _analyse(wiring, claim, lease, stages),
    )


def _analyse(wiring: Wiring, claim: Claim, lease: Lease, stages: ChooseStages) -> None:
    lease(Stage.PROBE, 0.0)
    options = AnalysisOptions.model_validate(claim.options)
    words = catalogue(options.language.value)
    with tempfile.TemporaryDirectory(prefix="servewright-") as folder:
        film = Path(folder) / "film"
        lease.patiently(lambda: fetch_film(wiring, claim.clip_key, claim.clip_sha256, film))
        result = pipeline.run(
            film,
            engine_request(options, seed=wiring.settings.engine_seed),
            stages(options.models),
            report=lease,
            sha256=claim.clip_sha256,
            annotated_film=options.annotated_film,
            extra_cautions=MINOR_CAUTIONS if claim.minor else (),
            words=words,
        )
    artifacts = put_files(wiring, claim, lease, result_files(result, words))
    lease.patiently(
        lambda: wiring.analyses.complete(
            claim.analysis_id,
            claim.attempt,
            artifacts,
            facts=result.analysis.clip,
            headline=headline(result.analysis),
        )
    )
