"""What a movement is to films and truth, whatever made it."""

from __future__ import annotations

from typing import Protocol

from .pose import Body
from .rotation import Array
from .skeleton import Skeleton


class Moving(Protocol):
    """A body in motion that can be posed at any time."""

    @property
    def skeleton(self) -> Skeleton:
        """The body."""

    def body(self, t: Array) -> Body:
        """Posed body at times (T,), seconds."""
