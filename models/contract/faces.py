"""Whether pictures and films show faces, and under which names those with hidden faces lie."""

from __future__ import annotations

from enum import StrEnum

HIDDEN = "hidden/"
"""Begins the names of result files that are there beside others, with faces hidden, for readers
who may not see the face of a possible minor."""


class Faces(StrEnum):
    """Faces in pictures and films."""

    SHOWN = "shown"
    HIDDEN = "hidden"


def hidden_name(name: str) -> str:
    """Return the name of a result file with hidden faces that stands beside another."""
    return HIDDEN + name
