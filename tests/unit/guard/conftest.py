"""The frozen films, measured once for all tests and all processes that run side by side."""

from __future__ import annotations

import fcntl
import os
import pickle
from collections.abc import Mapping
from pathlib import Path

import pytest

from models.training.guard.checks import Figure, figures
from models.training.guard.frozen import frozen_films
from models.training.guard.measured import Measured, measure_film


@pytest.fixture(scope="session")
def films(tmp_path_factory: pytest.TempPathFactory) -> list[Measured]:
    """Every film as the engine measures it. Processes share the work, film by film."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "")
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if worker else own
    names = frozen_films()
    first = int(worker.removeprefix("gw") or 0) * len(names) // 2 % len(names)
    done = {name: _once(shared, name) for name in (*names[first:], *names[:first])}
    return [done[name] for name in names]


def _once(folder: Path, name: str) -> Measured:
    kept = folder / f"guard-{name}.pickle"
    with (folder / f"guard-{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            part = kept.with_suffix(".part")
            part.write_bytes(pickle.dumps(measure_film(name)))
            part.replace(kept)
        measured: Measured = pickle.loads(kept.read_bytes())
    return measured


@pytest.fixture(scope="session")
def found(films: list[Measured]) -> Mapping[str, Figure]:
    """Every figure of the guard."""
    return figures(films)
