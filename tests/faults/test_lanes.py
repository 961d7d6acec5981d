"""Short work while every worker for films is busy."""

from __future__ import annotations

from pathlib import Path

from models.contract.vocabulary import WorkKind
from tests.faults.conftest import Crew, until
from tests.films import TESTER, queue_film, write_film


def test_short_work_does_not_wait_for_long(crew: Crew, tmp_path: Path) -> None:
    crew.start(processes=1)
    films = [write_film(tmp_path / f"court-{n}.mp4", 300 + n) for n in range(3)]
    analyses = [queue_film(crew.wiring, film) for film in films]
    for analysis_id in analyses:
        crew.wiring.queue.enqueue(analysis_id, 1)
    until(lambda: crew.in_the_middle(analyses[0]), 60, "the only worker for films to be busy")
    with crew.wiring.database.write() as session:
        check = {"rules": None, "finding": "squat", "drill": "hold_loaded", "plan_id": None}
        row = crew.wiring.work.enter(session, TESTER, WorkKind.DRILL_CHECK, check)
    crew.wiring.queue.enqueue(row.id, 1)
    until(lambda: crew.finished(row.id), 60, "the short work to end")
    assert not crew.finished(analyses[-1]), "films wait still"
