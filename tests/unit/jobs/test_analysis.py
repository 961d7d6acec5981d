from __future__ import annotations

import errno
import json
import os
from pathlib import Path

import pytest
from rq.timeouts import JobTimeoutException
from sqlalchemy import update

from models.contract.analysis import Analysis as AnalysisDocument
from models.contract.errors import (
    Cancelled,
    ClipDamaged,
    DecoderStopped,
    LeaseLost,
    ModelUnknown,
    ObjectStoreUnavailable,
    ServewrightError,
)
from models.contract.tracks import JointTrack
from models.contract.vocabulary import AnalysisStatus
from service.core.claims import Claim
from service.core.objects import ObjectInfo
from service.core.queue import attempt_at
from service.core.tables import Clip, Work
from service.core.wiring import Wiring
from tests.films import queue_film
from tests.unit.jobs.analysing import always, events, keys, row, work
from tests.unit.pipeline.fakes import FakeClip, stages
from workers.jobs import lease
from workers.jobs.analysis import analyse
from workers.jobs.attempt import run_attempt
from workers.jobs.lease import Lease
from workers.jobs.making import Made
from workers.pipeline.run import StageFunctions


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "film.mp4"
    path.write_bytes(b"the bytes of a film")
    return path


def test_finished_job_shows_one_result_and_one_event(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    done = row(wiring, analysis_id)
    assert done.status == AnalysisStatus.COMPLETED
    assert done.progress == 1.0
    assert set(done.artifacts) == {
        "result",
        "events",
        "metrics",
        "joints",
        "joints.npz",
        "report.html",
        "pictures/serve-1-trophy.jpg",
    }
    assert {n: f["schema"] for n, f in done.artifacts.items() if f["schema"]} == {
        "result": "analysis.v2.json",
        "events": "events.v1.json",
        "metrics": "metrics.v2.json",
        "joints": "joints.v2.json",
    }
    with wiring.objects.open(done.artifacts["result"]["key"]) as stream:
        document = AnalysisDocument.model_validate_json(stream.read())
    assert document.clip.sha256 is not None
    with wiring.objects.open(done.artifacts["joints.npz"]["key"]) as stream:
        assert len(JointTrack.from_npz(stream.read())) == 10
    with wiring.objects.open(done.artifacts["metrics"]["key"]) as stream:
        assert json.load(stream)["repetitions"][0]["kind"] == "serve"
    assert done.headline["repetitions"] == 1
    assert events(wiring) == ["analysis.first_look", "analysis.completed"]
    with wiring.database.read() as session:
        assert session.get_one(Clip, done.clip_id).facts is not None


def test_job_that_runs_twice_leaves_one_result(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film)
    for _ in range(2):
        work(wiring, analysis_id, 1, always(stages(FakeClip())))
    assert events(wiring) == ["analysis.first_look", "analysis.completed"]
    assert len(keys(wiring)) == 7


def test_options_reach_the_stages(wiring: Wiring, film: Path) -> None:
    asked: list[tuple[str, ...] | None] = []

    def choose(models: tuple[str, ...] | None) -> StageFunctions:
        asked.append(models)
        return stages(FakeClip())

    analysis_id = queue_film(wiring, film, {"models": ["blazepose_full"], "height_m": 1.8})
    work(wiring, analysis_id, 1, choose)
    assert asked == [("blazepose_full",)]


@pytest.mark.parametrize(
    ("clip", "code", "stage"),
    [
        (FakeClip(fail_at=2, error=ClipDamaged()), "clip_damaged", "decode"),
        (FakeClip(fail_at=2, error=ModelUnknown()), "model_unknown", "decode"),
        (FakeClip(frames=0), "clip_without_frames", "decode"),
    ],
)
def test_typed_failure_is_a_problem_on_the_row_and_an_event(
    wiring: Wiring, film: Path, clip: FakeClip, code: str, stage: str
) -> None:
    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(clip)))
    failed = row(wiring, analysis_id)
    assert failed.status == AnalysisStatus.FAILED
    assert failed.problem is not None
    assert failed.problem["code"] == code
    assert failed.problem["stage"] == stage
    assert failed.problem["detail"]
    assert events(wiring) == ["analysis.failed"]
    assert keys(wiring) == []


def test_bug_in_a_stage_fails_the_analysis_but_not_the_worker(wiring: Wiring, film: Path) -> None:
    def broken(*_arguments: object) -> JointTrack:
        raise ZeroDivisionError

    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip(), estimate=broken)))
    failed = row(wiring, analysis_id)
    assert failed.problem is not None
    assert failed.problem["code"] == "internal_error"
    assert "ZeroDivision" not in json.dumps(failed.problem)


def test_stored_film_that_changed_is_refused(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film)
    with wiring.database.read() as session:
        clip = session.get_one(Clip, row(wiring, analysis_id).clip_id)
    wiring.objects.put_bytes(clip.object_key, b"other bytes", "video/mp4")
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    failed = row(wiring, analysis_id)
    assert failed.problem is not None
    assert failed.problem["code"] == "stored_film_lost", "the film sent is not to blame"


def test_film_gone_from_the_store_is_a_typed_failure(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film)
    with wiring.database.read() as session:
        clip = session.get_one(Clip, row(wiring, analysis_id).clip_id)
    wiring.objects.delete(clip.object_key)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    failed = row(wiring, analysis_id)
    assert failed.problem is not None
    assert failed.problem["code"] == "stored_film_lost", "the film sent is not to blame"


def test_a_decoder_ended_from_outside_is_tried_again_before_it_is_told(
    wiring: Wiring, film: Path
) -> None:
    """What memory pressure does to a decoder says nothing of the film."""

    def stopped(*_arguments: object) -> JointTrack:
        raise DecoderStopped

    analysis_id = queue_film(wiring, film)
    allowed = wiring.settings.max_attempts
    for attempt in range(1, allowed):
        work(wiring, analysis_id, attempt, always(stages(FakeClip(), estimate=stopped)))
        again = row(wiring, analysis_id)
        assert (again.status, again.attempt) == (AnalysisStatus.QUEUED, attempt + 1)
        assert wiring.queue.is_known(analysis_id, attempt + 1)
        assert "analysis.failed" not in events(wiring)
    work(wiring, analysis_id, allowed, always(stages(FakeClip(), estimate=stopped)))
    failed = row(wiring, analysis_id)
    assert failed.problem is not None
    assert failed.problem["code"] == "decoder_stopped"
    assert "not at fault" in failed.problem["detail"]
    assert keys(wiring) == []


def test_how_an_attempt_ended_and_what_its_stages_took_is_counted(
    wiring: Wiring, film: Path
) -> None:
    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    counted = wiring.tallies.read()
    assert counted["attempts", "analysis", "completed"] == 1
    assert counted["stages", "analysis", "pose"] == 1
    assert counted["stage_seconds", "analysis", "store"] >= 0


def test_a_decoder_ended_once_costs_nothing(wiring: Wiring, film: Path) -> None:
    def stopped(*_arguments: object) -> JointTrack:
        raise DecoderStopped

    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip(), estimate=stopped)))
    work(wiring, analysis_id, 2, always(stages(FakeClip())))
    assert row(wiring, analysis_id).status == AnalysisStatus.COMPLETED


def test_a_full_disk_is_waited_for(
    wiring: Wiring, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lease, "FIRST_WAIT_S", 0.001)
    full = [OSError(errno.ENOSPC, "no space"), OSError(errno.EDQUOT, "no space")]

    def make(wiring: Wiring, claim: Claim, held: Lease, folder: Path) -> Made:
        if full:
            raise full.pop()
        return analyse(wiring, claim, held, folder, always(stages(FakeClip())))

    analysis_id = queue_film(wiring, film)
    run_attempt(wiring, attempt_at(analysis_id, 1), make)
    assert not full
    assert row(wiring, analysis_id).status == AnalysisStatus.COMPLETED


def test_a_store_that_is_full_while_results_are_written_is_waited_for(
    wiring: Wiring, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full when a file is flushed, and again when it is closed."""
    monkeypatch.setattr(lease, "FIRST_WAIT_S", 0.001)
    real, left = os.fsync, [3]

    def full(descriptor: int) -> None:
        if left[0]:
            left[0] -= 1
            raise OSError(errno.ENOSPC, "no space")
        real(descriptor)

    analysis_id = queue_film(wiring, film)
    monkeypatch.setattr("os.fsync", full)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    assert row(wiring, analysis_id).status == AnalysisStatus.COMPLETED


def test_work_whose_time_ends_while_it_waits_goes_back_to_the_queue(
    wiring: Wiring, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def wait(_seconds: float) -> None:
        raise JobTimeoutException("the time is over")

    monkeypatch.setattr(lease.time, "sleep", wait)

    def make(_wiring: Wiring, _claim: Claim, _lease: Lease, _folder: Path) -> Made:
        raise OSError(errno.ENOSPC, "no space")

    analysis_id = queue_film(wiring, film)
    run_attempt(wiring, attempt_at(analysis_id, 1), make)
    again = row(wiring, analysis_id)
    assert (again.status, again.attempt, again.crashes) == (AnalysisStatus.QUEUED, 2, 0)
    assert wiring.queue.is_known(analysis_id, 2)


@pytest.mark.parametrize("error", [LeaseLost(), Cancelled()])
def test_work_that_is_no_longer_ours_leaves_nothing(
    wiring: Wiring, film: Path, error: ServewrightError
) -> None:
    def lost(*_arguments: object) -> JointTrack:
        raise error

    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip(), estimate=lost)))
    assert row(wiring, analysis_id).status == AnalysisStatus.RUNNING  # somebody else's affair
    assert events(wiring) == []
    assert keys(wiring) == []


def test_late_attempt_cannot_commit(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film)

    def taken_over(*_arguments: object) -> dict[str, bytes]:
        with wiring.database.write() as session:
            session.execute(update(Work).where(Work.id == analysis_id).values(attempt=2))
        return {}

    work(wiring, analysis_id, 1, always(stages(FakeClip(), draw=taken_over)))
    assert row(wiring, analysis_id).status == AnalysisStatus.RUNNING
    assert row(wiring, analysis_id).artifacts == {}
    assert events(wiring) == ["analysis.first_look"]  # told while the work was still ours
    assert keys(wiring) == []


def test_attempt_of_another_number_is_not_started(wiring: Wiring, film: Path) -> None:
    def never(_models: tuple[str, ...] | None) -> StageFunctions:
        raise AssertionError("started")

    analysis_id = queue_film(wiring, film)
    work(wiring, analysis_id, 2, never)
    assert row(wiring, analysis_id).status == AnalysisStatus.QUEUED


def test_short_outage_of_the_object_store_is_waited_out(
    wiring: Wiring, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lease, "FIRST_WAIT_S", 0.001)
    analysis_id = queue_film(wiring, film)
    real = wiring.objects.put_bytes
    outages = [1, 1, 1]

    def put(key: str, data: bytes, media_type: str) -> ObjectInfo:
        if outages:
            outages.pop()
            raise ObjectStoreUnavailable
        return real(key, data, media_type)

    monkeypatch.setattr(wiring.objects, "put_bytes", put)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    assert row(wiring, analysis_id).status == AnalysisStatus.COMPLETED
