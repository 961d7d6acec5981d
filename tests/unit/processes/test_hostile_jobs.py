"""Whoever can write to Redis cannot run anything in a worker; good work goes on."""

from __future__ import annotations

import json
import os
import pickle
import signal
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rq import Callback, Queue, Repeat, Retry, SimpleWorker
from rq.serializers import JSONSerializer, PickleSerializer

from models.contract.vocabulary import WorkKind
from service.core.identifiers import new_id
from service.core.jobs import Attempt
from service.core.wiring import Wiring
from workers.processes.queue_worker import ClipWorker
from workers.processes.scratch import Scratch

HERE = "tests.unit.processes.test_hostile_jobs"
MARKER = "HOSTILE_MARKER"
MOMENT = b"2026-01-01T00:00:00.000000Z"


def marked(*_arguments: Any, **_named: Any) -> None:
    """Show that this was called."""
    Path(os.environ[MARKER]).write_text("ran")


class Bomb:
    """Runs a command when it is unpickled."""

    def __init__(self, marker: Path) -> None:
        self.command = f"touch {marker}"

    def __reduce__(self) -> tuple[Any, ...]:
        return os.system, (self.command,)


@pytest.fixture(autouse=True)
def _signal_handlers() -> Iterator[None]:
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@pytest.fixture
def marker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the file that is there as soon as anything hostile has run."""
    path = tmp_path / "marker"
    monkeypatch.setenv(MARKER, str(path))
    return path


class Bench:
    """A queue, a worker on it, and a list of what the worker was asked to carry out."""

    def __init__(self, wiring: Wiring, folder: Path) -> None:
        self.connection = wiring.queue.connection
        self.name = wiring.queue.name
        self.queue = wiring.queue
        self.done = folder / "done"
        self.done.touch()
        self.scratch = Scratch(folder)
        self.worker = ClipWorker(
            self.name,
            self.connection,
            carry_out=self._note,
            give_back=lambda _attempt: None,
            job_timeout_s=60,
            grace_s=1.0,
            scratch=self.scratch,
        )

    def _note(self, attempt: Attempt) -> None:
        with self.done.open("a") as file:
            file.write(f"{attempt.kind} {attempt.work_id} {attempt.number}\n")

    def put(self, name: str, **fields: bytes) -> None:
        """Write a record and its name by plain commands."""
        self.connection.hset(f"rq:job:{name}", mapping=fields)  # type: ignore[arg-type]
        self.connection.rpush(f"rq:queue:{self.name}", name)

    def run(self) -> list[str]:
        """Work until the queue is empty, a good job last; return the other attempts made."""
        last = new_id("cmp")
        self.queue.enqueue(last, 7)
        self.worker.work(burst=True, logging_level="WARNING")
        *others, good = self.done.read_text().splitlines()
        assert good == f"comparison {last} 7"
        assert len(self.queue) == 0
        assert self.connection.llen(f"rq:queue:{self.name}:intermediate") == 0
        return others

    def status(self, name: str) -> bytes | None:
        return self.connection.hget(f"rq:job:{name}", "status")  # type: ignore[return-value]


@pytest.fixture
def bench(wiring: Wiring, tmp_path: Path) -> Iterator[Bench]:
    folder = tmp_path / "work"
    folder.mkdir()
    made = Bench(wiring, folder)
    yield made
    made.scratch.close()


@pytest.mark.parametrize("serializer", [JSONSerializer, PickleSerializer])
@pytest.mark.parametrize("named", [True, False])
def test_function_named_by_stock_rq_is_not_called(
    bench: Bench, marker: Path, serializer: Any, named: bool
) -> None:
    stock = Queue(bench.name, connection=bench.connection, serializer=serializer)
    name = f"{new_id('ana')}-1" if named else None
    job = stock.enqueue("os.system", f"touch {marker}", job_id=name)
    assert bench.run() == []
    assert not marker.exists()
    if named:
        assert bench.status(job.id) == b"failed"


def test_the_same_job_runs_in_a_stock_worker(bench: Bench, marker: Path) -> None:
    stock = Queue(bench.name, connection=bench.connection)
    stock.enqueue("os.system", f"touch {marker}")
    SimpleWorker([stock], connection=bench.connection).work(burst=True)
    assert marker.exists()


def test_pickled_data_is_not_loaded(bench: Bench, marker: Path) -> None:
    names = [f"{new_id('ana')}-1" for _ in range(3)]
    bomb = pickle.dumps(Bomb(marker))
    good = json.dumps({"kind": "analysis", "id": names[2][:-2], "attempt": 1}).encode()
    bench.put(names[0], data=zlib.compress(bomb))
    bench.put(names[1], data=bomb)
    bench.put(names[2], data=good, meta=bomb, result=bomb, exc_info=bomb)
    assert bench.run() == [f"analysis {names[2][:-2]} 1"]
    assert not marker.exists()
    assert [bench.status(name) for name in names[:2]] == [b"failed"] * 2


def test_everything_else_that_a_record_says_is_ignored(bench: Bench, marker: Path) -> None:
    work_id = new_id("ana")
    stock = Queue(bench.name, connection=bench.connection, serializer=JSONSerializer)
    call = Callback(f"{HERE}.marked")
    other = stock.enqueue("os.getpid", job_id=f"{new_id('ana')}-1")
    name = stock.enqueue(
        "os.getpid",
        job_id=f"{work_id}-1",
        on_success=call,
        on_failure=call,
        on_stopped=call,
        retry=Retry(3),
        repeat=Repeat(times=3),
        job_timeout=-1,
        meta={"a": "b"},
    ).id
    record = f"rq:job:{name}"
    data = json.dumps({"kind": "analysis", "id": work_id, "attempt": 1}).encode()
    hostile = {
        "data": data,
        "origin": b"another",
        "result_ttl": b"-1",
        "dependency_ids": json.dumps([other.id]).encode(),
        "rate_limit_key": b"x",
        "rate_limit_concurrency": b"1",
        "webhooks": b'[{"url": "http://127.0.0.1:1/", "job_status": "finished"}]',
    }
    bench.connection.hset(record, mapping=hostile)  # type: ignore[arg-type]
    bench.connection.sadd(f"{record}:dependents", "../../etc/passwd", other.id)
    assert bench.run() == [f"analysis {work_id} 1"]
    assert not marker.exists()
    assert bench.status(other.id) == b"failed"
    assert bench.connection.exists(record) == 0


@pytest.mark.parametrize(
    "values",
    [
        {"kind": "plan"},
        {"kind": "os.system"},
        {"kind": 1},
        {"id": "../../etc/passwd"},
        {"id": ["ana"]},
        {"attempt": 0},
        {"attempt": 2},
        {"attempt": "1"},
        {"attempt": True},
        {"attempt": 1.0},
        {"attempt": 10**9},
        {"function": "os.system"},
        {"padding": "x" * 5000},
    ],
)
def test_values_that_are_no_attempt_are_refused(bench: Bench, values: dict[str, Any]) -> None:
    work_id = new_id("ana")
    name = f"{work_id}-1"
    good = {"kind": "analysis", "id": work_id, "attempt": 1}
    bench.put(name, data=zlib.compress(json.dumps(good | values).encode()), failure_ttl=b"1")
    assert bench.run() == []
    assert bench.status(name) == b"failed"


@pytest.mark.parametrize(
    "data", [b"", b"null", b"[]", b'["os.system", null, ["true"], {}]', b"[" * 400, b"\xff\xfe"]
)
def test_data_that_is_no_document_is_refused(bench: Bench, data: bytes) -> None:
    name = f"{new_id('ana')}-1"
    bench.put(name, data=data)
    assert bench.run() == []
    assert bench.status(name) == b"failed"


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "", b"\xff\xfe", "ana_1-1", "a:b", "x" * 10_000, f"ana_{0:032x}"]
)
def test_names_that_no_attempt_has_are_thrown_away(bench: Bench, name: str | bytes) -> None:
    bench.connection.rpush(f"rq:queue:{bench.name}", name)
    assert bench.run() == []


def test_records_that_cannot_be_read_do_not_stop_the_worker(bench: Bench) -> None:
    names = [f"{new_id('ana')}-1" for _ in range(3)]
    bench.connection.sadd(f"rq:job:{names[0]}", "not a record")
    bench.connection.rpush(f"rq:queue:{bench.name}", names[0])
    bench.put(names[1], description=b"no data")
    data = json.dumps({"kind": "analysis", "id": names[2][:-2], "attempt": 1}).encode()
    odd = dict.fromkeys(("created_at", "timeout", "status", "ttl", "started_at"), b"\xffodd")
    bench.put(names[2], data=data, dependency_ids=b"{", retries_left=b"x", **odd)
    last = new_id("cmp")
    bench.queue.enqueue(last, 7)
    bench.worker.work(burst=True, logging_level="WARNING")
    done = bench.done.read_text().splitlines()
    assert done == [f"analysis {names[2][:-2]} 1", f"comparison {last} 7"]


def test_tidying_up_calls_nothing(bench: Bench, marker: Path) -> None:
    name = f"{new_id('ana')}-1"
    bench.connection.hset(
        f"rq:job:{name}",
        mapping={
            "data": b"x",
            "status": b"started",
            "origin": bench.name.encode(),
            "failure_callback_name": f"{HERE}.marked".encode(),
            "last_heartbeat": MOMENT,
            "retries_left": b"3",
        },
    )
    bench.connection.zadd(f"rq:wip:{bench.name}", {f"{name}:run": 1.0, "../../x:y": 1.0})
    bench.connection.zadd(f"rq:deferred:{bench.name}", {"../../x": 1.0})
    assert bench.run() == []
    assert not marker.exists()
    assert bench.status(name) == b"failed"


def test_jobs_of_the_version_before_are_sent_again(bench: Bench) -> None:
    """They named a function. Refused, they are lost for the queue, which the reconciler mends."""
    work_id = new_id("ana")
    stock = Queue(bench.name, connection=bench.connection, serializer=JSONSerializer)
    job = stock.enqueue(
        "workers.jobs.analysis.run_analysis", args=[work_id, 1], job_id=f"{work_id}-1"
    )
    assert bench.run() == []
    assert bench.status(job.id) == b"failed"
    assert not bench.queue.is_known(work_id, 1)
    bench.queue.enqueue(work_id, 1)
    bench.done.write_text("")
    assert bench.run() == [f"analysis {work_id} 1"]


def test_orders_are_not_taken(bench: Bench) -> None:
    bench.worker.handle_payload({"data": b'{"command": "shutdown"}'})
    bench.worker.handle_payload({"data": b"not json"})
    assert bench.run() == []


def test_attempt_reads_back() -> None:
    attempt = Attempt(WorkKind.PLAN, new_id("pln"), 3)
    assert Attempt.from_bytes(attempt.to_bytes()) == attempt
