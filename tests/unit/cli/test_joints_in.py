"""The command that measures joints from files."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from models.training.rendered.bodies import raw_joints, simulated_track, times, truth
from tests.unit.joints_in.motion_files import write_npz
from workers.cli.app import build
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
