"""Nothing reports to anybody: the runtime of the networks is told not to.

ONNX Runtime, release notes of 1.29: usage reports on Linux, on by default, switched off by
ORT_DISABLE_TELEMETRY. Where they are on, importing it leaves a device id in the user's cache.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
SWITCHES = ("ORT_", "CI", "TF_BUILD", "GITHUB_", "XDG_CACHE_HOME")


def files_after(code: str, home: Path) -> list[Path]:
    """Return what a program leaves in the home folder of its user."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(SWITCHES)}
    environment = kept | {"HOME": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, check=True)
    return [path for path in home.rglob("*") if path.is_file()]


@pytest.mark.parametrize("module", ["workers.pose.session", "models.registry, onnxruntime"])
def test_here_it_does_not(module: str, tmp_path: Path) -> None:
    assert files_after(f"import {module}", tmp_path) == []
