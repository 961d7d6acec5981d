"""The files an operator starts from name only what exists. No container is run here."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
import typer
import yaml

from service.core.settings import PREFIX, Settings
from workers.cli.app import build

PROJECT = Path(__file__).resolve().parents[3]
INFRA = PROJECT / "infra"
KNOWN = {PREFIX + name.upper() for name in Settings.model_fields}


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((INFRA / "compose.yaml").read_text())
    return loaded


@pytest.mark.parametrize("name", ["compose.yaml", "example.env", "Dockerfile"])
def test_every_setting_named_exists(name: str) -> None:
    named = set(re.findall(PREFIX + r"[A-Z0-9_]+", (INFRA / name).read_text()))
    assert named
    assert named <= KNOWN


def test_secrets_have_no_default(compose: dict[str, Any]) -> None:
    text = (INFRA / "compose.yaml").read_text()
    for variable in re.findall(r"\$\{(\w*PASSWORD\w*)([^}]*)\}", text):
        assert variable[1] == ":?", variable


def test_our_services_run_without_rights(compose: dict[str, Any]) -> None:
    ours = [s for s in compose["services"].values() if s.get("image") == "servewright"]
    assert len(ours) == 3
    for service in ours:
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert "no-new-privileges:true" in service["security_opt"]
    assert "\nUSER servewright\n" in (INFRA / "Dockerfile").read_text()


def test_commands_of_the_services_exist(compose: dict[str, Any]) -> None:
    commands = typer.main.get_command(build())
    assert isinstance(commands, typer.core.TyperGroup)
    for service in compose["services"].values():
        command = service.get("command", [])
        if command[:1] == ["servewright"]:
            assert command[1] in commands.commands


def test_queue_never_evicts(compose: dict[str, Any]) -> None:
    command = compose["services"]["valkey"]["command"]
    assert command[command.index("--maxmemory-policy") + 1] == "noeviction"


def test_worker_is_given_time_to_hand_its_work_back(compose: dict[str, Any]) -> None:
    worker = compose["services"]["workers"]
    grace = float(worker["command"][worker["command"].index("--grace") + 1])
    assert float(worker["stop_grace_period"].removesuffix("s")) >= grace + 10


def test_image_is_built_from_files_that_exist() -> None:
    text = (INFRA / "Dockerfile").read_text()
    for line in re.findall(r"^COPY (?!--from)(.+)$", text, re.MULTILINE):
        *sources, _target = line.split()
        for source in sources:
            assert (PROJECT / source).exists(), source
    assert "--require-hashes" in text


@pytest.mark.parametrize(
    "script", ["demo.sh", "test.sh", "environment.sh", "pin_images.sh", "../.ci/run"]
)
def test_shell_scripts_are_sound(script: str) -> None:
    done = subprocess.run(
        ["bash", "-n", str(INFRA / script)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
