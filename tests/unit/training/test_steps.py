"""The listed steps can be run as they are listed."""

from __future__ import annotations

import shlex
import sys
from importlib.util import find_spec

import pytest

from models.training.__main__ import main
from models.training.steps import GUARD, LEARN, Step, listing

STEPS = (*LEARN, *GUARD)


@pytest.mark.filterwarnings("ignore:.*found in sys.modules:RuntimeWarning")
@pytest.mark.parametrize("step", STEPS, ids=lambda step: f"{step.name} {step.example[:20]}")
def test_the_options_of_a_listed_command_exist(
    step: Step, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if step.name in ("lift", "bound") and find_spec("torch") is None:
        pytest.skip("needs the training extra")
    monkeypatch.setattr(sys, "argv", [])
    monkeypatch.setenv("COLUMNS", "200")
    with pytest.raises(SystemExit) as ended:
        main([step.name, "--help"])
    assert ended.value.code in (0, None)
    said = capsys.readouterr().out
    options = [word for word in shlex.split(step.example) if word.startswith("--")]
    assert [option for option in options if option not in said] == []


def test_every_step_says_what_it_reads_and_writes() -> None:
    said = listing()
    for step in STEPS:
        assert step.command in said
        assert step.seed
        assert step.reads
        assert step.writes
        assert step.time


def test_without_arguments_the_steps_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    assert "python -m models.training calibration" in capsys.readouterr().out


def test_an_unknown_step_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["nonsense"]) == 2
    assert "no step 'nonsense'" in capsys.readouterr().out
