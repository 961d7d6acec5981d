from __future__ import annotations

from pathlib import Path

import pytest

from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.core.queue import attempt_at
from service.core.tables import Work
from service.core.wiring import Wiring
from tests.films import queue_film
from workers.processes import boot as main
from workers.processes import preload


def test_work_of_a_stopped_worker_is_sent_out_again(wiring: Wiring, tmp_path: Path) -> None:
    film = tmp_path / "film.mp4"
    film.write_bytes(b"film")
    analysis_id = queue_film(wiring, film)
    wiring.work.claim(WorkKind.ANALYSIS, analysis_id, 1, "w1")
    main.give_back(wiring.settings, attempt_at(analysis_id, 1))
    with wiring.database.read() as session:
        row = session.get_one(Work, analysis_id)
    assert (row.status, row.attempt, row.crashes) == (AnalysisStatus.QUEUED, 2, 0)
    assert wiring.queue.is_known(analysis_id, 2)


def test_work_that_others_have_is_not_sent_out(wiring: Wiring, tmp_path: Path) -> None:
    film = tmp_path / "film.mp4"
    film.write_bytes(b"film")
    analysis_id = queue_film(wiring, film)
    main.give_back(wiring.settings, attempt_at(analysis_id, 1))
    main.give_back(wiring.settings, attempt_at("ana_" + "0" * 32, 1))
    assert len(wiring.queue) == 0


def test_networks_that_do_not_survive_a_fork_are_dropped(
    wiring: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    from workers.pipeline import stages

    settings = wiring.settings.model_copy(update={"models": ("blazepose_full",)})
    stages.networks.cache_clear()
    assert main.preload(settings)
    assert stages.networks.cache_info().currsize == 1
    monkeypatch.setattr(preload, "survives_fork", lambda _run: False)
    assert not main.preload(settings)
    assert stages.networks.cache_info().currsize == 0


def test_nothing_is_preloaded_for_a_gpu(wiring: Wiring) -> None:
    assert not main.preload(wiring.settings.model_copy(update={"device": "cuda"}))
