"""Own lines and own rules in the pages that jobs make from a finished analysis."""

from __future__ import annotations

import hashlib

import pytest

from models.contract.again import AgainRequest
from models.contract.analysis import Analysis
from models.contract.annotations import Annotations
from models.contract.errors import AnalysisNotCompleted, InvalidRequest, NotFound
from models.contract.vocabulary import WorkKind
from models.practice.rules import rules_of
from service.core.claims import StoredFile
from service.core.queue import attempt_at
from service.core.tables import Work
from service.core.wiring import Wiring
from tests.films import RENDERED, TESTER, queue_film
from tests.unit.jobs.test_documents import row
from workers.derive.model_serve import FOLDER, model_serve
from workers.jobs import entry
from workers.pipeline.result_files import result_files
from workers.pipeline.run import PipelineResult

PICTURE = "serve-1-loading.jpg"
MARKS = {"marks": [{"type": "text", "picture": PICTURE, "at": [300, 200], "text": "Here"}]}
LINES = Annotations.model_validate(MARKS)
OWN = """
findings:
  - id: weight_not_on_rear_foot
    metric: rear_foot_load_share
    event: loading
    is: "<="
    value: 0.35
    unit: "1"
    scale: 0.1
    text: Less than 35 % of your weight is over the rear foot.
    source: common practice, no source
    drills: [hold_loaded, shadow_slow, throw_up, serve_easy]
"""


def _stored(wiring: Wiring) -> str:
    """Enter the shipped model serve as a film and the finished analysis of it, with a picture."""
    shown = model_serve(0)
    analysis_id = queue_film(wiring, FOLDER / "film.mp4")
    claim = wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w")
    track, bodies = shown.joints()
    artifacts = {}
    for file in result_files(PipelineResult(shown.analysis, track, tuple(bodies))):
        artifacts[file.name] = _put(wiring, claim.result_prefix, file.name, file.path, file.data)
    name = f"pictures/{PICTURE}"
    artifacts[name] = _put(wiring, claim.result_prefix, name, name, b"\xff\xd8 jpeg")
    wiring.work.complete(analysis_id, 1, artifacts, facts=shown.analysis.clip)
    return analysis_id


def _put(wiring: Wiring, prefix: str, name: str, path: str, data: bytes) -> StoredFile:
    key = f"{prefix}/{path}"
    kind = "image/jpeg" if name.startswith("pictures/") else "application/octet-stream"
    wiring.objects.put_bytes(key, data, kind)
    return StoredFile(key, hashlib.sha256(data).hexdigest(), len(data), kind)


@pytest.fixture
def analysis_id(wiring: Wiring) -> str:
    return _stored(wiring)


def _again(wiring: Wiring, analysis_id: str, asked: AgainRequest) -> Work:
    with wiring.database.write() as session:
        made = wiring.requests.analysis_again(session, TESTER, analysis_id, asked).id
    entry.work(wiring, attempt_at(made, 1))
    done = row(wiring, made)
    assert done.status == "completed", done.problem
    return done


def _read(wiring: Wiring, done: Work, name: str) -> bytes:
    with wiring.objects.open(done.artifacts[name]["key"]) as stream:
        return stream.read()


def test_again_draws_the_pictures_with_own_lines_and_by_own_rules(
    wiring: Wiring, analysis_id: str
) -> None:
    plain = _again(wiring, analysis_id, AgainRequest())
    assert not [name for name in plain.artifacts if name.startswith("pictures/")]
    without = _again(wiring, analysis_id, AgainRequest(pictures=True))
    wiring.own_lines.put(TESTER, analysis_id, LINES)
    text = OWN
    with wiring.database.write() as session:
        rules = wiring.rule_files.create(session, TESTER, text, rules_of(text)).id
    lined = _again(wiring, analysis_id, AgainRequest(pictures=True))
    ruled = _again(wiring, analysis_id, AgainRequest(pictures=True, rules_id=rules))
    names = [name for name in lined.artifacts if name.startswith("pictures/")]
    assert f"pictures/{PICTURE}" in names
    shown = [_read(wiring, one, f"pictures/{PICTURE}") for one in (without, lined, ruled)]
    assert len(set(shown)) == 3  # no lines; lines; lines and another goal
    assert wiring.own_lines.get(TESTER, lined.id) == LINES
    document = Analysis.model_validate_json(_read(wiring, ruled, "result"))
    (held,) = (t for t in document.thresholds if t.finding == "weight_not_on_rear_foot")
    assert held.value == 0.35
    # Measured once more, it is still shown by these rules.
    later = Analysis.model_validate_json(
        _read(wiring, _again(wiring, ruled.id, AgainRequest()), "result")
    )
    assert later.thresholds == document.thresholds


def test_lines_are_kept_read_changed_and_removed(wiring: Wiring, analysis_id: str) -> None:
    with pytest.raises(NotFound):
        wiring.own_lines.get(TESTER, analysis_id)
    wiring.own_lines.put(TESTER, analysis_id, LINES)
    assert wiring.own_lines.get(TESTER, analysis_id) == LINES
    wiring.own_lines.put(TESTER, analysis_id, None)
    for again in (wiring.own_lines.get, lambda p, a: wiring.own_lines.put(p, a, None)):
        with pytest.raises(NotFound):
            again(TESTER, analysis_id)


def test_lines_that_fit_no_picture_are_refused(wiring: Wiring, analysis_id: str) -> None:
    elsewhere = {"marks": [MARKS["marks"][0] | {"picture": "serve-9-loading.jpg"}]}
    outside = {"marks": [MARKS["marks"][0] | {"at": [90000, 1]}]}
    for wrong in (elsewhere, outside):
        with pytest.raises(InvalidRequest):
            wiring.own_lines.put(TESTER, analysis_id, Annotations.model_validate(wrong))
    unfinished = queue_film(wiring, RENDERED / "016.mp4")
    with pytest.raises(AnalysisNotCompleted):
        wiring.own_lines.put(TESTER, unfinished, LINES)
