"""Which walls a decoder has on this machine: put up in a process of its own, and told.

What a version of Landlock knows: Linux's documentation, userspace-api/landlock (1: Linux 5.13,
3: 6.2, 4: 6.7, 5: 6.10, 6: 6.12).
"""

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


def left_open(walls: Walls) -> tuple[str, ...]:
    """Return what a film that has taken its decoder over could reach past these walls, in words.

    Empty: nothing that is known. In any case memory, time and the size of files are limited, there
    are no capabilities, and the process ends with its parent.
    """
    if walls.calls:
        if walls.files:
            return ()
        return ("reading all files of the workers' user: other films, settings with their secrets",)
    found = []
    if walls.files == 0:
        found.append("reading, renaming and removing all files of the workers' user")
    elif walls.files < 3:
        found.append("truncating files of the workers' user")
    if walls.files < 4:
        found.append("the network")
    else:
        found.append("the network but TCP")
    if walls.files < 6:
        found += ["signals to processes of the workers' user", "their abstract sockets"]
    found.append("whatever other system calls have for faults")
    return tuple(found)
