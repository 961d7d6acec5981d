"""Nothing of a film stays in the folder for temporary files, however a job or a worker ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.core.identifiers import new_id
from service.core.jobs import Attempt
from service.core.wiring import Wiring
from workers.processes.queue_worker import ClipWorker
from workers.processes.scratch import Scratch, remove_abandoned

KILLED_WITH_A_FOLDER = """
import os, pathlib, signal, sys
from workers.processes.scratch import Scratch
scratch = Scratch(pathlib.Path(sys.argv[1]))
(scratch.folder / "film").write_bytes(b"film")
os.kill(os.getpid(), signal.SIGKILL)
"""


def leave_a_film(_attempt: Attempt) -> None:
    """Be a job that is killed while it has a film."""
    (Path(tempfile.mkdtemp()) / "film").write_bytes(b"film")
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.fixture
def _signal_handlers() -> Iterator[None]:
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("_signal_handlers")
def test_a_killed_job_leaves_nothing(wiring: Wiring, tmp_path: Path) -> None:
    base = tmp_path / "temporary"
    base.mkdir()
    analysis_id = new_id("ana")
    wiring.queue.enqueue(analysis_id, 1)
    connection = wiring.queue.connection
    scratch = Scratch(base)
    worker = ClipWorker(
        wiring.queue.name,
        connection,
        carry_out=leave_a_film,
        give_back=lambda _attempt: None,
        job_timeout_s=60,
        grace_s=1.0,
        scratch=scratch,
    )
    worker.work(burst=True)
    assert connection.hget(f"rq:job:{analysis_id}-1", "status") == b"failed"
    assert list(scratch.folder.iterdir()) == []
    scratch.close()
    assert list(base.iterdir()) == []


def test_the_folder_of_a_killed_worker_is_removed_by_the_next(tmp_path: Path) -> None:
    command = [sys.executable, "-c", KILLED_WITH_A_FOLDER, str(tmp_path)]
    assert subprocess.run(command, check=False).returncode == -signal.SIGKILL
    (left,) = tmp_path.iterdir()
    assert (left / "film").exists()
    scratch = Scratch(tmp_path)
    assert list(tmp_path.iterdir()) == [scratch.folder]
    scratch.close()


def test_folders_in_use_and_of_others_stay(tmp_path: Path) -> None:
    scratch = Scratch(tmp_path)
    target = tmp_path / "elsewhere"
    target.mkdir()
    link = tmp_path / "servewright-work-link"
    link.symlink_to(target)
    remove_abandoned(tmp_path)
    assert scratch.folder.is_dir()
    assert target.is_dir()
    assert link.is_symlink()
    scratch.close()
