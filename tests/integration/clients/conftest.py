"""A service on a port of this machine, whose worker gives finished results out of the drawer."""

from __future__ import annotations

import hashlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from models.contract.vocabulary import AnalysisStatus, WorkKind
from service.api.app import create_app
from service.core.claims import StoredFile
from service.core.queue import attempt_at
from service.core.settings import Settings
from service.core.wiring import Wiring
from tests.films import write_film
from tests.unit.report.conftest import Case, load
from workers.jobs import entry
from workers.pipeline.result_files import result_files
from workers.pipeline.run import PipelineResult

FREE_BOX = b"\x00\x00\x00\x08free"
"""An empty box that readers skip (ISO/IEC 14496-12, 8.1.2): other bytes, the same film."""


@dataclass(frozen=True)
class Running:
    """A service that runs."""

    url: str
    key: str
    wired: Wiring


@pytest.fixture(scope="session")
def case() -> Case:
    return load("right_side")


@pytest.fixture(scope="session")
def films(tmp_path_factory: pytest.TempPathFactory, case: Case) -> tuple[Path, Path]:
    """Return two films of a serve with different bytes."""
    folder = tmp_path_factory.mktemp("films")
    picture = next(iter(case.frames.values()))
    clip = case.analysis.clip
    first = write_film(
        folder / "before.mp4", clip.frames, rate=round(clip.frame_rate), paint=lambda _: picture
    )
    second = folder / "after.mp4"
    second.write_bytes(first.read_bytes() + FREE_BOX)
    return first, second


def give_result(wired: Wiring, work_id: str, attempt: int, case: Case) -> None:
    """End an analysis with the files of a finished one."""
    claim = wired.work.claim(WorkKind.ANALYSIS, work_id, attempt, "drawer")
    artifacts = {}
    for file in result_files(PipelineResult(case.analysis, case.track, (case.body,))):
        key = f"{claim.result_prefix}/{file.path}"
        wired.objects.put_bytes(key, file.data, file.media_type)
        digest = hashlib.sha256(file.data).hexdigest()
        artifacts[file.name] = StoredFile(key, digest, len(file.data), file.media_type, file.schema)
    wired.work.complete(work_id, attempt, artifacts, facts=case.analysis.clip)


def work_off(wired: Wiring, case: Case, stop: threading.Event) -> None:
    """Do queued work until told to stop: analyses from the drawer, documents truly."""
    while not stop.wait(0.1):
        for work_id, state in wired.work.unfinished():
            if state.status is not AnalysisStatus.QUEUED:
                continue
            attempt = attempt_at(work_id, state.attempt)
            if attempt.kind is WorkKind.ANALYSIS:
                give_result(wired, work_id, state.attempt, case)
            else:
                entry.work(wired, attempt)


@pytest.fixture
def more_settings() -> dict[str, Any]:
    """Return settings that a module needs beside the usual ones."""
    return {}


@pytest.fixture
def running(settings: Settings, case: Case, more_settings: dict[str, Any]) -> Iterator[Running]:
    """Serve on a free port of this machine; webhooks may go to this machine."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"http://127.0.0.1:{listener.getsockname()[1]}"
        open_to_tests = {
            "public_url": url,
            "background": True,
            "webhook_interval_s": 0.2,
            "webhook_allow_http": True,
            "webhook_private_networks": ("127.0.0.0/8",),
        }
        app = create_app(settings.model_copy(update=open_to_tests | more_settings))
        wired: Wiring = app.state.wiring
        key = wired.keys.add("clients")
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="on"))
        serving = threading.Thread(target=server.run, args=([listener],), daemon=True)
        serving.start()
        end = time.monotonic() + 30
        while not server.started:
            assert time.monotonic() < end, "the service did not start"
            time.sleep(0.02)
        stop = threading.Event()
        worker = threading.Thread(target=work_off, args=(wired, case, stop), daemon=True)
        worker.start()
        try:
            yield Running(url, key, wired)
        finally:
            stop.set()
            worker.join(60)
            server.should_exit = True
            serving.join(30)
