"""Which walls a decoder has on this machine: put up in a process of its own, and told."""

from __future__ import annotations

import json
import os
import subprocess
import sys

from workers.video.hardening import Walls

_TRIAL = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from workers.video.hardening import harden; from workers.video.limits import DecodeLimits; "
    "walls = harden(DecodeLimits(), int(sys.argv[2])); "
    "print(json.dumps([walls.calls, walls.files]))"
)
TRIAL_S = 30.0
"""Longest wait for that process, seconds (working value)."""


def walls_here() -> Walls:
    """Return the walls that this kernel lets a process put up around itself."""
    done = subprocess.run(
        [sys.executable, "-I", "-c", _TRIAL, json.dumps(sys.path), str(os.getpid())],
        capture_output=True,
        check=True,
        timeout=TRIAL_S,
    )
    calls, files = json.loads(done.stdout)
    return Walls(calls, files)
