"""Everything in Redis is lost: the database knows what is unfinished, and all of it is done."""

from __future__ import annotations

import os
from pathlib import Path

from rq.intermediate_queue import IntermediateQueue

from models.contract.vocabulary import AnalysisStatus
from tests.faults.conftest import Crew, until
from tests.films import queue_film, write_film


def flush(crew: Crew) -> None:
    """Empty the whole server; only its own database when others may use it."""
    connection = crew.wiring.queue.connection
    if os.environ.get("SERVEWRIGHT_TEST_REDIS_URL"):
        connection.flushdb()
    else:
        connection.flushall()


def test_three_pending_analyses_survive_a_flush(crew: Crew, tmp_path: Path) -> None:
    film = write_film(tmp_path / "court.mp4", 30)
    waiting = [queue_film(crew.wiring, film) for _ in range(3)]
    for analysis_id in waiting:
        crew.wiring.queue.enqueue(analysis_id, 1)
    assert len(crew.wiring.queue) == 3
    flush(crew)
    assert len(crew.wiring.queue) == 0
    crew.start()
    until(lambda: all(map(crew.finished, waiting)), 90, "all three to end")
    assert {crew.row(a).status for a in waiting} == {AnalysisStatus.COMPLETED}


def test_flush_while_one_is_running_and_two_wait(crew: Crew, tmp_path: Path) -> None:
    film = write_film(tmp_path / "court.mp4", 100)
    crew.start()
    waiting = [queue_film(crew.wiring, film) for _ in range(3)]
    for analysis_id in waiting:
        crew.wiring.queue.enqueue(analysis_id, 1)
    until(lambda: any(map(crew.in_the_middle, waiting)), 60, "one to be in the middle")
    flush(crew)
    until(lambda: all(map(crew.finished, waiting)), 90, "all three to end")
    assert {crew.row(a).status for a in waiting} == {AnalysisStatus.COMPLETED}
    crew.note()


def test_job_of_a_worker_that_died_while_taking_it(crew: Crew, tmp_path: Path) -> None:
    analysis_id = queue_film(crew.wiring, write_film(tmp_path / "court.mp4", 15))
    crew.wiring.queue.enqueue(analysis_id, 1)
    connection = crew.wiring.queue.connection
    key = f"rq:queue:{crew.wiring.settings.queue_name}"
    connection.lmove(key, IntermediateQueue.get_intermediate_queue_key(key), "RIGHT", "LEFT")
    crew.start()
    until(lambda: crew.finished(analysis_id), 60, "the analysis to end")
    assert crew.row(analysis_id).status == AnalysisStatus.COMPLETED
    assert crew.row(analysis_id).crashes == 0
