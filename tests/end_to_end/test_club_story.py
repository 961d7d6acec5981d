"""The story of a club and one player, told through HTTP by the shipped example."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import av
import pytest

PROJECT = Path(__file__).resolve().parents[2]
STEPS = (
    "Intake",
    "Baseline",
    "The coach sends the club's own rules",
    "Practice plan",
    "The coach's session",
    "What changed",
    "One week later",
    "Retention",
    "Progress",
    "The plan moves on",
    "The player leaves the club",
)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_story_is_told_to_its_end(tmp_path: Path) -> None:
    command = [sys.executable, "infra/examples/club_story.py", "--out", str(tmp_path)]
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    told = [line.removeprefix("== ") for line in done.stdout.splitlines() if line.startswith("==")]
    assert len(told) == len(STEPS)
    for line, step in zip(told, STEPS, strict=True):
        assert line.startswith(step)
    assert "Player, club and dates are invented" in done.stdout
    assert "hold_loaded: ADVANCE" in done.stdout
    assert "done: hold_loaded" in done.stdout
    for name in ("baseline", "plan", "comparison", "progress", "next-plan"):
        page = (tmp_path / f"{name}-report.html").read_text("utf-8")
        assert "<html" in page
        assert "http://" not in page.replace("http://www.w3.org/", "")
    for name in ("baseline", "comparison"):
        with av.open(str(tmp_path / f"{name}-film.mp4")) as film:
            assert film.streams.video[0].codec_context.name == "h264"
            assert sum(1 for _ in film.decode(video=0)) > 30
