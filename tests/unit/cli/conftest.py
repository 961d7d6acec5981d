"""The command line in this process, with settings of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from service.core.settings import Settings
from workers.cli.app import build

Invoke = Callable[..., Result]


@pytest.fixture
def environment(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Settings:
    """Put the test's settings into the environment."""
    for name, value in {
        "DATA_DIR": str(settings.data_dir),
        "DATABASE_URL": settings.database_address,
        "REDIS_URL": settings.redis_address,
        "QUEUE_NAME": settings.queue_name,
    }.items():
        monkeypatch.setenv(f"SERVEWRIGHT_{name}", value)
    return settings


@pytest.fixture
def invoke(environment: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Invoke:
    """Return a function that runs one command line."""
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()

    def run(*arguments: str) -> Result:
        return runner.invoke(build(), list(arguments), catch_exceptions=False)

    return run
