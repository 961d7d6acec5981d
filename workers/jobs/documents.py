"""Documents made from analyses: fetch these, make the document, store it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from models.contract.analysis import Analysis
from models.contract.errors import Erased
from models.contract.joints import Joints
from models.contract.progress import SessionKind
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import Language, RepetitionKind, Stage, WorkKind
from models.practice.rules import rules_of
from service.core.documents import DocumentClaim, InputFiles
from service.core.objects import ObjectMissing
from service.core.wiring import Wiring
from workers.derive import comparison, practice, progress
from workers.derive.source import SessionSources, Source
from workers.jobs.attempt import fetch_film, put_files, run_attempt
from workers.jobs.configured import decode_limits
from workers.jobs.lease import Lease
from workers.pipeline.result_files import ResultFile

PICTURES = "pictures/"

Made = tuple[tuple[ResultFile, ...], Mapping[str, Any]]


def work(wiring: Wiring, document_id: str, attempt: int) -> None:
    """Run one attempt with these adapters."""
    run_attempt(
        wiring,
        wiring.documents,
        document_id,
        attempt,
        wiring.documents.claim,
        lambda claim, lease: _make(wiring, claim, lease),
    )


def _make(wiring: Wiring, claim: DocumentClaim, lease: Lease) -> None:
    lease(Stage.PROBE, 0.0)
    with tempfile.TemporaryDirectory(prefix="servewright-") as folder:
        shelf = _Shelf(wiring, lease, Path(folder))
        sources = [shelf.source(one) for one in claim.inputs]
        lease(Stage.PICTURES, 0.3)
        files, headline = _MAKERS[claim.kind](wiring, claim, sources)
    artifacts = put_files(wiring, claim, lease, files)
    lease.patiently(
        lambda: wiring.documents.complete(
            claim.document_id, claim.attempt, artifacts, headline=headline
        )
    )


def _language(claim: DocumentClaim) -> Language:
    return Language(claim.request.get("language", Language.ENGLISH.value))


def _comparison(wiring: Wiring, claim: DocumentClaim, sources: Sequence[Source]) -> Made:
    labels = claim.request["labels"]
    marked = [(one.side or "", source) for one, source in zip(claim.inputs, sources, strict=True)]
    first, second = comparison.sides(labels["first"], labels["second"], marked)
    found, files = comparison.comparison_files(
        first,
        second,
        decode_limits(wiring.settings),
        kind=RepetitionKind(claim.request["kind"]),
        film=claim.request["film"],
        minor=claim.minor,
        same_player=claim.request.get("same_player", False),
        focus=claim.request.get("focus", ()),
        language=_language(claim),
    )
    return files, comparison.headline(found)


def _progress(_wiring: Wiring, claim: DocumentClaim, sources: Sequence[Source]) -> Made:
    of_session: dict[str, list[Source]] = {}
    facts: dict[str, InputFiles] = {}
    for one, source in zip(claim.inputs, sources, strict=True):
        assert one.session_id is not None
        of_session.setdefault(one.session_id, []).append(source)
        facts[one.session_id] = one
    sessions = []
    for session_id, found_sources in of_session.items():
        one = facts[session_id]
        assert one.filmed_at is not None
        assert one.session_kind is not None
        name = f"{one.filmed_at:%Y-%m-%d}"
        kind = SessionKind(one.session_kind)
        sessions.append(SessionSources(name, kind, one.filmed_at, tuple(found_sources)))
    found, files = progress.progress_files(
        claim.player or "",
        sessions,
        now=claim.now,
        kind=RepetitionKind(claim.request["kind"]),
        minor=claim.minor,
        language=_language(claim),
    )
    return files, progress.headline(found)


def _plan(_wiring: Wiring, claim: DocumentClaim, sources: Sequence[Source]) -> Made:
    found, files = practice.plan_files(
        rules_of(claim.request["rules"]),
        sources,
        done=claim.request["done"],
        player=claim.player,
        minor=claim.minor,
        language=_language(claim),
    )
    return files, practice.plan_headline(found)


def _drill_check(_wiring: Wiring, claim: DocumentClaim, sources: Sequence[Source]) -> Made:
    request = claim.request
    rules = rules_of(request["rules"])
    found, files = practice.drill_files(
        rules, request["finding"], request["drill"], sources, minor=claim.minor
    )
    return files, practice.drill_headline(found)


_MAKERS: dict[WorkKind, Callable[[Wiring, DocumentClaim, Sequence[Source]], Made]] = {
    WorkKind.COMPARISON: _comparison,
    WorkKind.PROGRESS: _progress,
    WorkKind.PLAN: _plan,
    WorkKind.DRILL_CHECK: _drill_check,
}


class _Shelf:
    """Results of analyses in the object store, as sources."""

    def __init__(self, wiring: Wiring, lease: Lease, folder: Path) -> None:
        self._wiring = wiring
        self._lease = lease
        self._folder = folder

    def source(self, one: InputFiles) -> Source:
        """Return one input; only its document is read now."""
        analysis = Analysis.model_validate_json(self._read(one, "result"))

        def joints() -> tuple[JointTrack, Sequence[BodyMotion | None]]:
            track = JointTrack.from_npz(self._read(one, "joints.npz"))
            document = Joints.model_validate_json(self._read(one, "joints"))
            return track, document.motions(len(analysis.repetitions))

        def film() -> Path:
            path = self._folder / one.analysis_id
            if not path.exists():
                self._lease.patiently(
                    lambda: fetch_film(self._wiring, one.clip_key, one.clip_sha256, path)
                )
            return path

        def pictures() -> dict[str, bytes]:
            names = [name for name in one.artifacts if name.startswith(PICTURES)]
            return {name.removeprefix(PICTURES): self._read(one, name) for name in names}

        return Source(one.analysis_id, analysis, joints, film, pictures)

    def _read(self, one: InputFiles, name: str) -> bytes:
        def read() -> bytes:
            try:
                with self._wiring.objects.open(one.artifacts[name].key) as stream:
                    return stream.read()
            except ObjectMissing as error:  # only an erasure removes results
                raise Erased("An analysis was erased while it was worked on.") from error

        return self._lease.patiently(read)
