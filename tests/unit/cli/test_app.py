from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
import typer

from tests.unit.cli.conftest import Invoke
from workers.cli.app import COMMANDS, build
from workers.cli.console import EXIT_CODES_HELP, Exit

PROJECT = Path(__file__).resolve().parents[3]


def test_every_command_explains_itself(invoke: Invoke) -> None:
    shown = invoke("--help")
    assert shown.exit_code == 0
    commands = typer.main.get_command(build())
    assert isinstance(commands, click.Group | typer.core.TyperGroup)
    assert len(commands.commands) >= len(COMMANDS)
    for name, command in commands.commands.items():
        assert name in shown.output
        assert command.help, name
        assert invoke(name, "--help").exit_code == 0


def test_exit_codes_are_documented() -> None:
    stated = {int(number) for number in re.findall(r"(\d+) ", EXIT_CODES_HELP)}
    assert stated == {int(code) for code in Exit}


def test_help_loads_no_heavy_library() -> None:
    code = (
        "import sys\n"
        "sys.argv = ['servewright', '--help']\n"
        "from workers.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'cv2', 'onnxruntime', 'scipy', 'sqlalchemy', 'boto3', 'fastapi'}\n"
        "found = sorted(heavy & set(sys.modules))\n"
        "sys.exit(f'loaded: {found}' if found else 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("arguments", [("analyse",), ("analyse", "nowhere.mp4"), ("nonsense",)])
def test_wrong_usage_is_exit_code_2(invoke: Invoke, arguments: tuple[str, ...]) -> None:
    assert invoke(*arguments).exit_code == Exit.USAGE


def test_misspelt_setting_is_named(invoke: Invoke, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SERVEWRIGHT_WORKRES", "2")
    shown = invoke("migrate")
    assert shown.exit_code == Exit.USAGE
    assert "SERVEWRIGHT_WORKRES" in shown.output
