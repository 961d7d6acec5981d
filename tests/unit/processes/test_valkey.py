"""Finding the embedded queue server, which the end-to-end tests run."""

from __future__ import annotations

import os
import subprocess
from importlib import metadata

import pytest

from models.contract.errors import QueueUnavailable
from workers.processes import valkey


def test_the_server_program_runs() -> None:
    program = valkey.valkey_server()
    assert os.access(program, os.X_OK)
    said = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    assert "Valkey server" in said.stdout


@pytest.mark.parametrize("installed", [None, ()])
def test_a_machine_without_one_is_told_what_to_do(
    monkeypatch: pytest.MonkeyPatch, installed: tuple[()] | None
) -> None:
    monkeypatch.setattr(metadata, "files", lambda _name: installed)
    with pytest.raises(QueueUnavailable, match="SERVEWRIGHT_REDIS_URL"):
        valkey.valkey_server()


def test_a_missing_package_is_no_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "files", missing)
    with pytest.raises(QueueUnavailable):
        valkey.valkey_server()
