from __future__ import annotations

import os
from pathlib import Path

import pytest

from workers.processes import threads


def test_thread_variables_are_set() -> None:
    environment: dict[str, str] = {"OMP_NUM_THREADS": "16", "OTHER": "x"}
    threads.limit_threads(environment)
    assert environment["OMP_NUM_THREADS"] == environment["OPENBLAS_NUM_THREADS"] == "1"
    assert environment["OTHER"] == "x"


@pytest.mark.parametrize(
    ("content", "cores"),
    [
        ("max 100000\n", None),
        ("150000 100000\n", 1.5),  # by hand: 150 ms of CPU time in each 100 ms
        ("50000 100000\n", 0.5),
        ("nonsense\n", None),
    ],
)
def test_control_group_quota_is_read(tmp_path: Path, content: str, cores: float | None) -> None:
    file = tmp_path / "cpu.max"
    file.write_text(content)
    assert threads._quota(str(file)) == cores


def test_at_least_one_core_and_no_more_than_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "_quota", lambda: 0.2)
    assert threads.usable_cores() == 1
    monkeypatch.setattr(threads, "_quota", lambda: 64.0)
    assert 1 <= threads.usable_cores() <= (os.cpu_count() or 1)
