"""Workers killed in the middle of a job: the analysis still ends, with one visible result.

The film has nobody in it, so the real pipeline surveys every part of it and completes with
``no_person``; what is tested is the queue, the leases and the processes.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
from sqlalchemy import select

from models.contract.vocabulary import AnalysisStatus
from service.core.tables import OutboxEvent
from tests.faults.conftest import Crew, alive, until
from tests.films import queue_film, write_film

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")

ENOUGH_S = 90.0


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a film that takes some seconds to survey."""
    return write_film(tmp_path_factory.mktemp("film") / "court.mp4", 120)


def one_visible_result(crew: Crew, analysis_id: str) -> None:
    row = crew.row(analysis_id)
    assert row.status == AnalysisStatus.COMPLETED
    with crew.wiring.database.read() as session:
        events = session.scalars(
            select(OutboxEvent.type).where(OutboxEvent.work_id == analysis_id)
        ).all()
    # Each once, however many attempts there were.
    assert sorted(events) == ["analysis.completed", "analysis.first_look"]
    for artifact in row.artifacts.values():
        assert crew.wiring.objects.stat(artifact["key"]).size_bytes == artifact["size_bytes"]
        assert artifact["key"].startswith(f"analyses/{analysis_id}/{row.attempt}/")


@pytest.mark.parametrize("victim", ["horse", "parent", "both", "supervisor"])
def test_analysis_survives_a_killed_process(crew: Crew, film: Path, victim: str) -> None:
    crew.start()
    analysis_id = queue_film(crew.wiring, film)
    crew.wiring.queue.enqueue(analysis_id, 1)
    until(lambda: crew.in_the_middle(analysis_id), 60, "the job to be in the middle")
    crew.note()
    parents, horses = crew.parents(), crew.horses()
    assert len(parents) == 1
    assert len(horses) == 1
    if victim == "supervisor":
        crew.kill()
        until(lambda: not any(map(alive, parents + horses)), 10, "what it left behind to die")
        crew.start()
    else:
        for pid in {"horse": horses, "parent": parents, "both": horses + parents}[victim]:
            os.kill(pid, signal.SIGKILL)
        until(lambda: not any(map(alive, horses)), 10, "the work-horse to be gone")
    until(lambda: crew.finished(analysis_id), ENOUGH_S, "the analysis to end")
    one_visible_result(crew, analysis_id)
    assert crew.row(analysis_id).attempt == 2
    assert crew.row(analysis_id).crashes == 1


def test_work_is_handed_back_at_shutdown_without_counting_a_crash(
    crew: Crew, tmp_path: Path
) -> None:
    film = write_film(tmp_path / "court.mp4", 240)  # takes longer than the grace
    crew.environment["SERVEWRIGHT_LEASE_S"] = "60"  # handed back, not lapsed
    crew.start()
    analysis_id = queue_film(crew.wiring, film)
    crew.wiring.queue.enqueue(analysis_id, 1)
    until(lambda: crew.in_the_middle(analysis_id), 60, "the job to be in the middle")
    crew.note()
    crew.stop()
    row = crew.row(analysis_id)
    assert row.status == AnalysisStatus.QUEUED
    assert (row.attempt, row.crashes) == (2, 0)
    assert not any(map(alive, crew.seen))
    crew.start()
    until(lambda: crew.finished(analysis_id), ENOUGH_S, "the analysis to end")
    one_visible_result(crew, analysis_id)


def test_film_that_kills_every_worker_fails_with_the_stage(crew: Crew, film: Path) -> None:
    crew.start()
    analysis_id = queue_film(crew.wiring, film)
    crew.wiring.queue.enqueue(analysis_id, 1)
    for attempt in (1, 2, 3):
        until(
            lambda n=attempt: (
                crew.row(analysis_id).attempt == n  # type: ignore[misc]
                and crew.in_the_middle(analysis_id)
                and bool(crew.horses())
            ),
            60,
            f"attempt {attempt}",
        )
        for pid in crew.horses():
            os.kill(pid, signal.SIGKILL)
    until(lambda: crew.finished(analysis_id), 60, "the analysis to be given up")
    row = crew.row(analysis_id)
    assert row.status == AnalysisStatus.FAILED
    assert row.problem is not None
    assert row.problem["code"] == "worker_crashed"
    assert row.problem["stage"] == "pose"
