"""The command that measures joints from files."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from models.training.rendered.bodies import raw_joints, simulated_track, times, truth
from tests.unit.cli.conftest import Invoke
from tests.unit.joints_in.motion_files import write_npz
from workers.cli.app import build
from workers.cli.console import Exit
from workers.joints_in.arrays import RawMotion


def test_json_of_a_motion(tmp_path: Path) -> None:
    path = tmp_path / "serve.npz"
    path.write_bytes(write_npz(RawMotion(times(truth("004")), raw_joints(truth("004")))))
    run = CliRunner().invoke(build(), ["analyse-joints", str(path), "--json"])
    assert run.exit_code == 0, run.output
    [result] = json.loads(run.stdout)
    assert result["handedness"] == "left"
    assert [r["kind"] for r in result["repetitions"]] == ["serve"]


def test_table_of_a_track_and_a_refusal(tmp_path: Path) -> None:
    path = tmp_path / "track.npz"
    path.write_bytes(simulated_track("000").to_npz())
    run = CliRunner().invoke(build(), ["analyse-joints", str(path), "--height-m", "1.83"])
    assert run.exit_code == 0, run.output
    assert "Weight over the rear foot" in run.stdout
    half = CliRunner().invoke(build(), ["analyse-joints", str(path), "--target-x", "1"])
    assert half.exit_code != 0


@pytest.mark.parametrize("harm", ["cut", "empty", "no zip", "wrong shape", "text", "scalar"])
def test_a_damaged_npz_file_is_a_problem_and_no_trace(
    invoke: Invoke, tmp_path: Path, harm: str
) -> None:
    file = tmp_path / "joints.npz"
    values: dict[str, Any] = {
        "format": "servewright-motion-1",
        "names": ["left_hip"],
        "time_s": np.arange(9.0),
        "xyz_m": np.zeros((9, 1, 3)),
    }
    values |= {
        "wrong shape": {"xyz_m": np.zeros((3, 9))},
        "text": {"time_s": np.array(["now"] * 9)},
        "scalar": {"time_s": np.array(1.0)},
    }.get(harm, {})
    np.savez(file, **values)
    content = file.read_bytes()
    if harm == "cut":
        file.write_bytes(content[: len(content) // 2])
    elif harm == "empty":
        file.write_bytes(b"")
    elif harm == "no zip":
        file.write_bytes(b"PK\x03\x04" + b"x" * 300)
    shown = invoke("analyse-joints", str(file))
    assert shown.exit_code == Exit.USAGE
    assert "invalid_request" in shown.stderr


@pytest.mark.parametrize("command", ["analyse-joints", "analyse"])
def test_a_pipe_is_named_and_not_waited_for(invoke: Invoke, tmp_path: Path, command: str) -> None:
    pipe = tmp_path / "joints.npz"
    os.mkfifo(pipe)
    shown = invoke(command, str(pipe))
    assert shown.exit_code == Exit.USAGE
    assert "pipe" in shown.stderr
