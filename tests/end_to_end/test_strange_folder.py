"""A current folder with packages called like ours does not break the service started in it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from models.contract.vocabulary import AnalysisStatus
from tests.end_to_end.conftest import Service
from tests.faults.conftest import descendants
from tests.films import write_film

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")


def test_service_serves_and_works_there(service: Service, tmp_path: Path) -> None:
    assert {path.name for path in service.folder.iterdir()} == {"models", "service", "workers"}
    family = [service.process.pid, *descendants(service.process.pid)]
    there = [
        pid for pid in family if Path(f"/proc/{pid}/cwd").resolve() == service.folder.resolve()
    ]
    assert len(there) >= 4  # up, API, supervisor, worker; Valkey goes into its own folder
    assert service.client.get("/readyz").status_code == 200
    state = service.analyse(write_film(tmp_path / "court.mp4", 10))  # by horse and decoder
    assert state["status"] == AnalysisStatus.COMPLETED, service.tail()
