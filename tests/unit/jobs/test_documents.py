"""A comparison made by the job from what lies in the object store."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from models.contract.clip import ClipFacts
from models.contract.comparison import Comparison
from models.contract.vocabulary import WorkKind
from service.core.claims import StoredFile
from service.core.objects import ObjectInfo
from service.core.queue import attempt_at
from service.core.tables import Clip, Work
from service.core.wiring import Wiring
from service.core.work import Input
from tests.films import TESTER, queue_film, write_film
from tests.unit.joints_v1 import as_version_1
from tests.unit.report.conftest import Case, load
from workers.jobs import entry
from workers.pipeline.result_files import result_files
from workers.pipeline.run import PipelineResult


def completed(wiring: Wiring, case: Case, film: Path) -> str:
    """Enter a film and the finished analysis of it."""
    analysis_id = queue_film(wiring, film)
    claim = wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    artifacts = {}
    for file in result_files(PipelineResult(case.analysis, case.track, (case.body,))):
        key = f"{claim.result_prefix}/{file.path}"
        wiring.objects.put_bytes(key, file.data, file.media_type)
        digest = hashlib.sha256(file.data).hexdigest()
        artifacts[file.name] = StoredFile(key, digest, len(file.data), file.media_type, file.schema)
    facts: ClipFacts = case.analysis.clip
    wiring.work.complete(analysis_id, 1, artifacts, facts=facts)
    return analysis_id


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Case, Path]]:
    """Return two finished analyses and still films of the same size, rate and length."""
    found = []
    for name in ("right_side", "left_front_quarter"):
        case = load(name)
        picture = next(iter(case.frames.values()))
        film = write_film(
            tmp_path_factory.mktemp("film") / f"{name}.mp4",
            case.analysis.clip.frames,
            rate=round(case.analysis.clip.frame_rate),
            paint=lambda _index, picture=picture: picture,
        )
        found.append((case, film))
    return found


@pytest.fixture
def asked(wiring: Wiring, filmed: list[tuple[Case, Path]]) -> str:
    """Return a comparison that waits for its job."""
    inputs = [
        Input(completed(wiring, case, film), side)
        for (case, film), side in zip(filmed, ("first", "second"), strict=True)
    ]
    request = {"labels": {"first": "May", "second": "June"}, "kind": "serve", "film": False}
    request["focus"] = ["pelvis_turn"]
    with wiring.database.write() as session:
        return wiring.work.enter(session, TESTER, WorkKind.COMPARISON, request, inputs).id


def row(wiring: Wiring, document_id: str) -> Work:
    with wiring.database.read() as session:
        return session.get_one(Work, document_id)


def test_joints_stored_in_the_earlier_version_are_compared(wiring: Wiring, asked: str) -> None:
    listed = [info.key for info in wiring.objects.list("analyses")]
    stored = [key for key in listed if key.endswith("/joints.json")]
    assert len(stored) == 2
    for key in stored:
        with wiring.objects.open(key) as stream:
            earlier = as_version_1(stream.read())
        wiring.objects.put_bytes(key, earlier, "application/json")
    entry.work(wiring, attempt_at(asked, 1))
    done = row(wiring, asked)
    assert done.status == "completed", done.problem
    with wiring.objects.open(done.artifacts["report.html"]["key"]) as stream:
        assert "hitting wrist" in stream.read().decode()


def test_job_makes_the_comparison(wiring: Wiring, asked: str) -> None:
    for _ in range(2):  # delivery is at least once
        entry.work(wiring, attempt_at(asked, 1))
    done = row(wiring, asked)
    assert done.status == "completed", done.problem
    assert {"result", "report.html", "pictures/pair-loading.jpg"} <= set(done.artifacts)
    with wiring.objects.open(done.artifacts["result"]["key"]) as stream:
        document = Comparison.model_validate_json(stream.read())
    assert (document.first.label, document.second.label) == ("May", "June")
    assert document.mirrored
    assert document.focus == ("pelvis_turn",)
    keys = [info.key for info in wiring.objects.list("documents")]
    assert len(keys) == len(done.artifacts)


def test_film_that_is_no_longer_the_uploaded_one_is_refused(wiring: Wiring, asked: str) -> None:
    with wiring.database.read() as session:
        clip = session.query(Clip).first()
    assert clip is not None
    written: ObjectInfo = wiring.objects.put_bytes(clip.object_key, b"other", "video/mp4")
    assert written.size_bytes == 5
    entry.work(wiring, attempt_at(asked, 1))
    failed = row(wiring, asked)
    assert failed.status == "failed"
    assert failed.problem is not None
    assert failed.problem["code"] == "stored_film_lost"
    assert list(wiring.objects.list("documents")) == []
