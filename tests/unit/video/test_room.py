"""What doctor tells of a decoder's walls, against what the kernel says of itself."""

from __future__ import annotations

import ctypes
from pathlib import Path

import pytest

from workers.cli import doctor
from workers.video import room
from workers.video.file_wall import version
from workers.video.hardening import Walls


def test_the_walls_told_are_those_of_the_kernel() -> None:
    """Actions that the kernel knows: seccomp(2), /proc/sys/kernel/seccomp."""
    walls = room.walls_here()
    assert walls.calls == Path("/proc/sys/kernel/seccomp/actions_avail").exists()
    assert walls.files == version(ctypes.CDLL(None, use_errno=True))


@pytest.mark.parametrize(
    ("walls", "good", "told"),
    [
        (Walls(True, 7), True, "Landlock 7"),
        (Walls(True, 0), False, "OPEN: reading files"),
        (Walls(False, 7), False, "OPEN: all system calls"),
    ],
)
def test_a_missing_wall_is_told(
    walls: Walls, good: bool, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "walls_here", lambda: walls)
    found = doctor.decoder_room()
    assert found.good is good
    assert told in found.detail
    assert bool(found.advice) is not good
    assert not found.required
