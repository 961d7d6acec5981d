"""A supervisor with real worker processes, and what the fault tests do to them."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from models.contract.vocabulary import AnalysisStatus
from service.core.settings import Settings
from service.core.tables import Work
from service.core.wiring import Wiring, wire
from workers.processes import tether

FINAL = {AnalysisStatus.COMPLETED, AnalysisStatus.FAILED, AnalysisStatus.CANCELLED}


def until(condition: Callable[[], bool], seconds: float, what: str) -> None:
    """Wait for a condition; fail the test when it does not come."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return
        time.sleep(0.05)
    pytest.fail(f"waited {seconds:g} s for {what}")


def children(pid: int) -> list[int]:
    """Return the direct children of a process."""
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            found += [int(word) for word in task.read_text().split()]
        except OSError:
            continue
    return found


def descendants(pid: int) -> list[int]:
    """Return all processes below a process."""
    below = children(pid)
    return below + [deeper for child in below for deeper in descendants(child)]


def alive(pid: int) -> bool:
    """Tell whether a process runs (a zombie does not)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def command_of(pid: int) -> bytes:
    """Return the command line of a process, parts ended by zeros; nothing when it has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


@dataclass
class Crew:
    """A supervisor of worker processes."""

    wiring: Wiring
    environment: dict[str, str]
    pid: int = 0
    seen: set[int] = field(default_factory=set)

    def start(self, processes: int = 1) -> None:
        """Start the supervisor."""
        command = tether.module(
            "workers.processes.boot", "--processes", str(processes), "--grace", "0.5"
        )
        log = (self.wiring.settings.data_dir / "workers.log").open("ab")
        with log:
            self._child = tether.spawn(command, environment=self.environment, output=log.fileno())
        self.pid = self._child.pid

    def stop(self) -> None:
        """Stop it in good order."""
        if self.pid:
            tether.stop(self._child, 15.0)

    def kill(self) -> None:
        """Kill the supervisor, with what it may leave behind."""
        self.note()
        os.kill(self.pid, signal.SIGKILL)
        self._child.wait()

    def parents(self) -> list[int]:
        """Return the RQ worker processes that take films."""
        return [pid for pid in children(self.pid) if b"\0short\0" not in command_of(pid)]

    def horses(self) -> list[int]:
        """Return the work-horses at work."""
        return [horse for parent in self.parents() for horse in children(parent)]

    def note(self) -> None:
        """Remember every process there is, to look for orphans later."""
        self.seen |= set(descendants(self.pid))

    def row(self, analysis_id: str) -> Work:
        """Return the row of an analysis."""
        with self.wiring.database.read() as session:
            return session.get_one(Work, analysis_id)

    def finished(self, analysis_id: str) -> bool:
        """Tell whether an analysis has ended."""
        return self.row(analysis_id).status in FINAL

    def in_the_middle(self, analysis_id: str) -> bool:
        """Tell whether a work-horse is busy with the frames of this analysis."""
        row = self.row(analysis_id)
        return row.status == AnalysisStatus.RUNNING and row.stage == "pose" and row.progress > 0.03


def environment_of(settings: Settings) -> dict[str, str]:
    """Return the environment that gives another process these settings."""
    values = {
        "DATA_DIR": str(settings.data_dir),
        "DATABASE_URL": settings.database_address,
        "REDIS_URL": settings.redis_address,
        "QUEUE_NAME": settings.queue_name,
        "LEASE_S": str(settings.lease_s),
        "HEARTBEAT_S": str(settings.heartbeat_s),
        "RECONCILE_INTERVAL_S": str(settings.reconcile_interval_s),
        "REQUEUE_AFTER_S": str(settings.requeue_after_s),
        "MODELS": '["blazepose_full"]',  # loads quickly; nobody is in these films
    }
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    return kept | {f"SERVEWRIGHT_{name}": value for name, value in values.items()}


@pytest.fixture
def brisk(settings: Settings) -> Settings:
    """Return settings with short leases, so that recovery is seen within seconds."""
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    return settings.model_copy(
        update={
            "lease_s": 3.0,
            "heartbeat_s": 0.5,
            "reconcile_interval_s": 0.5,
            "requeue_after_s": 1.0,
        }
    )


@pytest.fixture
def crew(brisk: Settings) -> Iterator[Crew]:
    """Return a crew, not yet started; nothing of it is left afterwards."""
    wiring = wire(brisk)
    made = Crew(wiring, environment_of(brisk))
    try:
        yield made
    finally:
        made.stop()
        wiring.close()
        until(lambda: not any(alive(pid) for pid in made.seen), 15, "every process to be gone")
