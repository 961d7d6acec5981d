"""Results of finished analyses in the object store, as sources of documents."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from models.contract.analysis import Analysis
from models.contract.annotations import Annotations
from models.contract.errors import Erased, InvalidRequest, NoLongerKept
from models.contract.faces import hidden_name
from models.contract.joints import read_joints
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import Stage
from service.core.claims import Claim, InputFiles
from service.core.objects import ObjectMissing
from service.core.wiring import Wiring
from workers.derive.source import Source
from workers.jobs.attempt import fetch_film
from workers.jobs.lease import Lease
from workers.pipeline.result_files import SECOND_JOINTS

PICTURES = "pictures/"
FETCHED = 0.3
"""How far a document is when its inputs are read (working value)."""


def sources_of(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> list[Source]:
    """Return the inputs of a claim; of each only the document is read now."""
    lease(Stage.PROBE, 0.0)
    sources = [_source(wiring, one, lease, folder) for one in claim.inputs]
    lease(Stage.PICTURES, FETCHED)
    return sources


def _source(wiring: Wiring, one: InputFiles, lease: Lease, folder: Path) -> Source:
    def read(name: str) -> bytes:
        return lease.patiently(lambda: _read(wiring, one, name))

    try:
        analysis = Analysis.model_validate_json(read("result"))
    except ValidationError as error:
        raise InvalidRequest(say(NoteCode.RESULT_OF_OTHER_VERSION, work=one.work_id)) from error

    def joints() -> tuple[JointTrack, Sequence[BodyMotion | None]]:
        track = JointTrack.from_npz(read("joints.npz"))
        document = read_joints(read("joints"))
        return track, document.motions(len(analysis.repetitions))

    def film() -> Path | None:
        if not (one.film.has_pictures and one.film.kept):
            return None
        path = folder / one.work_id
        if not path.exists():
            lease.patiently(lambda: fetch_film(wiring, one.film, path))
        return path

    def pictures(below: str = PICTURES) -> dict[str, bytes]:
        names = [name for name in one.artifacts if name.startswith(below)]
        return {name.removeprefix(below): read(name) for name in names}

    return Source(
        one.work_id,
        analysis,
        joints,
        film,
        pictures,
        hidden_pictures=lambda: pictures(hidden_name(PICTURES)),
        second_joints=lambda: JointTrack.from_npz(read(SECOND_JOINTS)),
        own=None if one.own_lines is None else Annotations.model_validate(one.own_lines),
    )


def _read(wiring: Wiring, one: InputFiles, name: str) -> bytes:
    if name not in one.artifacts:  # its time was over after this work was asked for
        raise NoLongerKept(say(NoteCode.RESULT_NO_LONGER_KEPT, work=one.work_id))
    try:
        with wiring.objects.open(one.artifacts[name].key) as stream:
            return stream.read()
    except ObjectMissing as error:  # only an erasure removes results
        raise Erased(say(NoteCode.ANALYSIS_ERASED)) from error
