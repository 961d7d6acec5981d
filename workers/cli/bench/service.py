"""``servewright bench api``: uploads and status answers while the workers fill the cores."""

from __future__ import annotations

import os
import secrets
import struct
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated

import typer

from workers.cli.bench.pose import FilmArgument
from workers.cli.bench.report import JsonOption, Part, Timing, finish
from workers.cli.bench.tree import Peaks
from workers.cli.console import guarded
from workers.processes.threads import SINGLE_THREAD, usable_cores

if TYPE_CHECKING:
    import httpx

    from service.core.wiring import Wiring

QUEUED = 10_000
"""Analyses that wait while the API is timed: a large business after a weekend (working value)."""
ASKS_A_SECOND = 20.0
"""Status requests a second while latencies are taken (working value)."""
BUSY_S = 2.0
"""Processor time that a stub analysis takes, seconds (working value)."""
START_S = 60.0
"""Longest wait for the stub workers, seconds: a busy machine loads their libraries slowly."""
CHANGED = 60
"""Analyses whose changes of state are timed, and files that are written (working value)."""
FILE_BYTES = 100_000
"""Size of these files, bytes: about a picture of an event."""
CHUNK = 500
"""Analyses entered in one transaction."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("api")(api)


@dataclass
class _Seen:
    """What a phase of the measurement saw."""

    upload_s: list[float] = field(default_factory=list)
    status_s: list[float] = field(default_factory=list)


@guarded
def api(
    file: FilmArgument,
    queued: Annotated[int, typer.Option(min=0, help="Analyses that wait.")] = QUEUED,
    seconds: Annotated[float, typer.Option(min=1, help="Length of each phase.")] = 20.0,
    workers: Annotated[int, typer.Option(min=0, help="Stub workers; 0 = one a core.")] = 0,
    json: JsonOption = None,
) -> None:
    """Run the real API, queue and database with workers that only keep the cores busy.

    First idle, then with a long queue and busy workers: uploads one after the other, and status
    requests at a steady rate. Uses SERVEWRIGHT_DATABASE_URL and SERVEWRIGHT_REDIS_URL if set (give
    it a database and a Redis of its own), else the embedded ones in a folder that is removed.
    """
    import numpy as np

    with _service() as (wired, client, key, api_pid), Peaks(api_pid) as peaks:
        film = file.read_bytes()
        ask = _prepared(client, film)
        idle = _phase(client, film, ask, seconds)
        ids, entered_s = _fill(wired, client, film, queued)
        round_s = _round_s(wired)
        transaction_s = _transactions(wired, ids[-CHANGED:])
        store_s = _stored(wired)
        count = workers or usable_cores()
        with _stub_workers(count):
            _until_at_work(wired, count)
            before = len(wired.queue)
            full = _phase(client, film, ask, seconds)
            claimed = before - len(wired.queue)
    del key
    size = f"{len(film) / 1e6:.2f} MB"
    rows: list[Timing] = []
    for case, seen in (("idle", idle), (f"busy cores, {queued} queued", full)):
        p50, p99 = np.percentile(seen.status_s, [50, 99]) * 1e3
        i50, i99 = np.percentile(idle.status_s, [50, 99]) * 1e3
        rate, idle_rate = (len(one.upload_s) / seconds for one in (seen, idle))
        rows += [
            Timing(case, "status, half of the answers within", p50, "ms", "idle", i50, i50 / p50),
            Timing(case, "status, 99 % of the answers within", p99, "ms", "idle", i99, i99 / p99),
            Timing(
                *(case, f"uploads of {size} a second, one after the other", rate, ""),
                *("idle", idle_rate, rate / idle_rate),
            ),
        ]
    case = f"{queued} queued"
    if queued:
        rows.append(Timing(case, "entered and sent a second", queued / entered_s, ""))
    rows += [
        Timing(case, "one round of the reconciler", round_s, "s"),
        Timing(case, "one change of state in the database", np.median(transaction_s) * 1e3, "ms"),
        Timing(case, "one result file to the object store", np.median(store_s) * 1e3, "ms"),
        Timing(case, "taken by the stub workers meanwhile", float(claimed), ""),
        Timing(case, "peak memory of the API", peaks.root_mb, "MiB"),
    ]
    samples = {
        "upload_s": full.upload_s,
        "status_s": full.status_s,
        "idle_upload_s": idle.upload_s,
        "idle_status_s": idle.status_s,
        "enter_s": [entered_s / queued] if queued else [],
        "transaction_s": transaction_s,
        "round_row_s": [round_s / max(1, queued)],
        "store_s": store_s,
    }
    finish(Part("api", "The API while the workers fill the cores", rows, samples), json)


@contextmanager
def _service() -> Iterator[tuple[Wiring, httpx.Client, str, int]]:
    """Run queue server and API; yield wiring, client, key and the API's process id."""
    import httpx

    from service.core.settings import Settings
    from service.core.wiring import wire
    from workers.cli.up import api_command, base_url, free_port, prepare_database
    from workers.processes import tether
    from workers.processes.valkey import valkey_program, wait_for_queue

    with tempfile.TemporaryDirectory(prefix="servewright-bench-") as folder, ExitStack() as stack:
        os.environ["SERVEWRIGHT_DATA_DIR"] = folder
        os.environ["SERVEWRIGHT_PORT"] = str(free_port("127.0.0.1"))
        os.environ["SERVEWRIGHT_LOG_LEVEL"] = "warning"
        settings = Settings()

        def run(command: Sequence[str]) -> int:
            child = tether.spawn(command)
            stack.callback(tether.stop, child, 10.0)
            return child.pid

        if settings.embedded_redis:
            run(valkey_program(settings.valkey_socket, settings.data_dir / "valkey").command)
        wait_for_queue(settings.redis_address, 15.0)
        prepare_database(settings)
        wired = wire(settings)
        stack.callback(wired.close)
        key = wired.keys.add("bench")
        pid = run(api_command())
        client = stack.enter_context(
            httpx.Client(
                base_url=base_url(settings),
                headers={"authorization": f"Bearer {key}"},
                timeout=60.0,
                trust_env=False,
            )
        )
        _wait(client)
        yield wired, client, key, pid


def _wait(client: httpx.Client) -> None:
    import httpx

    end = time.monotonic() + 30.0
    while time.monotonic() < end:
        try:
            if client.get("/readyz").status_code == httpx.codes.OK:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    raise RuntimeError("the API did not become ready")


@contextmanager
def _stub_workers(count: int) -> Iterator[None]:
    from workers.processes import tether

    with ExitStack() as stack:
        for _ in range(count):
            command = tether.module("workers.cli.bench.stub_worker", str(BUSY_S))
            child = tether.spawn(command, environment={**os.environ, **SINGLE_THREAD})
            stack.callback(tether.stop, child, 10.0)
        yield


def _until_at_work(wired: Wiring, count: int) -> None:
    """Wait until so many workers have taken work from the queue."""
    full, end = len(wired.queue), time.monotonic() + START_S
    while len(wired.queue) > max(0, full - count) and time.monotonic() < end:
        time.sleep(0.1)


def another(film: bytes) -> bytes:
    """Return the film with a box that players skip, so that its digest is new (ISO 14496-12)."""
    salt = secrets.token_bytes(16)
    return film + struct.pack(">I4s", 8 + len(salt), b"free") + salt


def _upload(client: httpx.Client, film: bytes) -> str:
    reply = client.post("/v1/clips", files={"file": ("serve.mp4", another(film), "video/mp4")})
    reply.raise_for_status()
    return str(reply.json()["id"])


def _prepared(client: httpx.Client, film: bytes) -> Callable[[], object]:
    """Start one analysis; return what asks for its status."""
    reply = client.post("/v1/analyses", json={"clip_id": _upload(client, film)})
    reply.raise_for_status()
    address = f"/v1/analyses/{reply.json()['id']}"
    return lambda: client.get(address).raise_for_status()


def _phase(client: httpx.Client, film: bytes, ask: Callable[[], object], seconds: float) -> _Seen:
    """Upload in one thread, and ask at a steady rate in another."""
    seen = _Seen()
    end = time.perf_counter() + seconds

    def upload() -> None:
        while (start := time.perf_counter()) < end:
            _upload(client, film)
            seen.upload_s.append(time.perf_counter() - start)

    thread = threading.Thread(target=upload, name="uploads")
    thread.start()
    due = time.perf_counter()
    while due < end:
        time.sleep(max(0.0, due - time.perf_counter()))
        start = time.perf_counter()
        ask()
        seen.status_s.append(time.perf_counter() - start)
        due += 1.0 / ASKS_A_SECOND
    thread.join()
    return seen


def _fill(wired: Wiring, client: httpx.Client, film: bytes, count: int) -> tuple[list[str], float]:
    """Enter analyses and send them to the queue; return them and the time that took, seconds."""
    from models.contract.resources import AnalysisOptions, AnalysisRequest
    from service.core.principal import Principal
    from service.core.table_base import MAIN_TENANT

    body = AnalysisRequest(clip_id=_upload(client, film), options=AnalysisOptions())
    owner = Principal("bench", MAIN_TENANT, frozenset({"admin"}))
    entered: list[str] = []
    start = time.perf_counter()
    for first in range(0, count, CHUNK):
        with wired.database.write() as session:
            ids = [
                wired.requests.analysis(session, owner, body).id
                for _ in range(min(CHUNK, count - first))
            ]
        for work_id in ids:
            wired.queue.enqueue(work_id, 1)
        entered += ids
    return entered, time.perf_counter() - start


def _round_s(wired: Wiring) -> float:
    """Return how long a round of the reconciler takes, seconds."""
    start = time.perf_counter()
    wired.reconciler().run_once()
    return time.perf_counter() - start


def _transactions(wired: Wiring, ids: Sequence[str]) -> list[float]:
    """Return how long claims, heartbeats and failures of these analyses take, seconds."""
    from models.contract.errors import Cancelled
    from models.contract.vocabulary import WorkKind

    steps: tuple[Callable[[str], object], ...] = (
        lambda one: wired.work.claim(WorkKind.ANALYSIS, one, 1, "bench"),
        lambda one: wired.work.heartbeat(one, 1),
        lambda one: wired.work.fail(one, 1, Cancelled()),
    )
    return [_timed(lambda s=step, w=work_id: s(w)) for work_id in ids for step in steps]  # type: ignore[misc]


def _stored(wired: Wiring) -> list[float]:
    """Return how long writing a file takes, seconds."""
    data = secrets.token_bytes(FILE_BYTES)
    return [
        _timed(lambda n=number: wired.objects.put_bytes(f"bench/{n}", data, "image/jpeg"))  # type: ignore[misc]
        for number in range(CHANGED)
    ]


def _timed(step: Callable[[], object]) -> float:
    start = time.perf_counter()
    step()
    return time.perf_counter() - start
