"""A whole service by ``servewright up``: API, one worker, queue, database, object store."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import pytest

from models.contract.analysis import Analysis
from tests.conftest import DATABASE_URL, REDIS_URL, redis_database_of
from tests.faults.conftest import children
from workers.processes import tether

ANALYSIS_S = 240.0


@dataclass
class Service:
    """A running service, the folder it was started in, a client with its first admin key."""

    process: subprocess.Popen[bytes]
    folder: Path
    client: httpx.Client
    log: list[str] = field(default_factory=list)

    def send(self, film: Path, **form: str) -> httpx.Response:
        """Upload a film."""
        with film.open("rb") as stream:
            return self.client.post(
                "/v1/clips", files={"file": (film.name, stream, "video/mp4")}, data=form
            )

    def analyse(self, film: Path, **options: Any) -> dict[str, Any]:
        """Upload and analyse a film; return the ended analysis."""
        digest = hashlib.sha256(film.read_bytes()).hexdigest()
        sent = self.send(film, sha256=digest)
        assert sent.status_code in (200, 201), sent.text
        asked = self.client.post(
            "/v1/analyses", json={"clip_id": sent.json()["id"], "options": options}
        )
        assert asked.status_code in (201, 202), asked.text
        return self.wait(asked.json()["id"])

    def wait(self, analysis_id: str) -> dict[str, Any]:
        """Return an analysis once it has ended."""
        end = time.monotonic() + ANALYSIS_S
        while time.monotonic() < end:
            state: dict[str, Any] = self.client.get(f"/v1/analyses/{analysis_id}").json()
            if state["status"] in ("completed", "failed", "cancelled"):
                return state
            time.sleep(0.1)
        pytest.fail(f"analysis still {state['status']} in {state['stage']}\n{self.tail()}")

    def result(self, state: dict[str, Any]) -> Analysis:
        """Return the analysis document of a completed analysis."""
        assert state["status"] == "completed", (state["problem"], self.tail())
        answer = self.client.get(state["links"]["result"])
        return Analysis.model_validate_json(answer.content)

    def rq_workers(self) -> list[int]:
        """Return the processes that take films."""
        supervisors = [
            p for p in children(self.process.pid) if "workers.processes.boot" in _command(p)
        ]
        workers = [worker for supervisor in supervisors for worker in children(supervisor)]
        return [worker for worker in workers if "--one short" not in _command(worker)]

    def tail(self) -> str:
        """Return the end of what the service said."""
        return "\n".join(self.log[-40:])


def _command(pid: int) -> str:
    return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()


@pytest.fixture(scope="package")
def outside_servers(worker_id: str) -> Iterator[dict[str, str]]:
    """Return settings that name the servers the test run was given, if any."""
    values: dict[str, str] = {}
    if REDIS_URL:
        values["SERVEWRIGHT_REDIS_URL"] = redis_database_of(worker_id, REDIS_URL)
        values["SERVEWRIGHT_QUEUE_NAME"] = f"test-{secrets.token_hex(6)}"
    if not DATABASE_URL:
        yield values
        return
    from sqlalchemy import create_engine, make_url, text

    schema = f"servewright_{secrets.token_hex(6)}"
    engine = create_engine(DATABASE_URL)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    url = make_url(DATABASE_URL).update_query_dict({"options": f"-csearch_path={schema}"})
    values["SERVEWRIGHT_DATABASE_URL"] = url.render_as_string(hide_password=False)
    try:
        yield values
    finally:
        with engine.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
        engine.dispose()


@pytest.fixture(scope="package")
def service(
    tmp_path_factory: pytest.TempPathFactory, outside_servers: dict[str, str]
) -> Iterator[Service]:
    """Run a service with one worker, in a folder that holds other packages under our names."""
    data, folder = tmp_path_factory.mktemp("service"), tmp_path_factory.mktemp("folder")
    for name in ("models", "service", "workers"):
        (folder / name).mkdir()
        (folder / name / "__init__.py").write_text("raise ImportError('not the one you want')\n")
    others = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    with contextlib.chdir(folder):
        process = tether.spawn(
            tether.module(
                *("workers.cli", "up", "--processes", "1"),
                *("--port", "0", "--data-dir", str(data)),
            ),
            environment=others | outside_servers | {"PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
            output=subprocess.PIPE,
        )
    lines: list[str] = []
    ready = threading.Event()

    def read() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            lines.append(line.decode(errors="replace").rstrip())
            if "Admin API key" in lines[-1]:
                ready.set()
        ready.set()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        assert ready.wait(120), "\n".join(lines)
        said = "\n".join(lines)
        assert "sw_" not in said  # a log is no place for a key
        address = re.search(r"(http://\S+)", said)
        key = re.search(r"Admin API key, in a file: +(/.*)", said)
        assert address is not None, said
        assert key is not None, said
        kept = Path(key[1])
        assert kept.stat().st_mode & 0o777 == 0o600
        headers = {"authorization": f"Bearer {kept.read_text().strip()}"}
        with httpx.Client(
            base_url=address[1], headers=headers, timeout=60, trust_env=False
        ) as client:
            yield Service(process, folder, client, lines)
    finally:
        code = tether.stop(process, 30.0)
        reader.join(10)
        assert process.stdout is not None
        process.stdout.close()
    assert code == 0, "\n".join(lines[-40:])
