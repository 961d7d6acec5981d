"""What a film may cost before it is refused or its decoder is stopped."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any, Self

MIB = 1 << 20
"""Bytes."""
GIB = 1 << 30
"""Bytes."""

RING_SLOTS = 4
"""Frames in shared memory: the reader holds one, the decoder fills the others meanwhile."""


@dataclass(frozen=True, slots=True)
class DecodeLimits:
    """Limits of one film; every one is a setting.

    Attributes
    ----------
    size_bytes : int
        Largest file.
    duration_s : float
        Longest film, seconds on the file's own time line.
    pixels : int
        Largest picture, pixels (width times height; default 4096 x 2304).
    fps : float
        Highest mean frame rate, frames per second.
    frames : int
        Most frames.
    wall_s : float
        Longest time the caller waits for the decoder in total, seconds. The caller's own work
        between two frames does not count.
    stall_s : float
        Longest wait for one answer of the decoder, seconds.
    cpu_s : int
        CPU time of the decoder process, seconds.
    memory_bytes : int
        Address space of the decoder process (libraries take 0.4 GB of it; a
        4096 x 2304 HEVC 10-bit film 0.8 GB in all).
    open_files : int
        Open descriptors of the decoder process.

    Raises
    ------
    ValueError
        When a limit is not positive.
    """

    size_bytes: int = GIB
    duration_s: float = 120.0
    pixels: int = 4096 * 2304
    fps: float = 480.0
    frames: int = 20_000
    wall_s: float = 600.0
    stall_s: float = 60.0
    cpu_s: int = 600
    memory_bytes: int = 1280 * MIB
    open_files: int = 64

    def __post_init__(self) -> None:
        for item in fields(self):
            if not getattr(self, item.name) > 0:
                raise ValueError(f"{item.name} must be positive")

    def as_dict(self) -> dict[str, Any]:
        """Return the limits as plain values, for the decoder process."""
        return asdict(self)

    @classmethod
    def of(cls, values: dict[str, Any]) -> Self:
        """Return the limits that `as_dict` wrote."""
        return cls(**values)
