"""What is said over the WebSocket of a hold that is watched live."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from models.contract.base import Document, Finite
from models.contract.coil import CoilVerdict
from models.contract.note import Note
from models.contract.vocabulary import Handedness

LARGEST_FRAME = 160 * 1024
"""Bytes of one JPEG picture: 640 x 480 at usual quality has 30 to 60 thousand."""
MOST_PIXELS = 1280
"""Longest side of one picture, pixels."""


class HoldOpening(Document):
    """The first message of a caller: who asks, and how the player stands."""

    key: str = Field(default="", max_length=200, repr=False)
    handedness: Literal[Handedness.LEFT, Handedness.RIGHT] = Handedness.RIGHT
    goal: float = Field(default=0.6, ge=0.3, le=0.95, description="Share over the rear foot.")
    azimuth_deg: float = Field(
        default=90.0, ge=0.0, lt=360.0, description="Where the camera stands: 90 faces the chest."
    )


class HoldMessage(Document):
    """The answer to a picture; without ``reading`` there is nothing to tell yet."""

    reading: bool
    time_s: Finite | None = None
    rear_share: Finite | None = None
    rear_share_low: Finite | None = None
    rear_share_high: Finite | None = None
    coil: CoilVerdict | None = None
    turned_away: Finite | None = None
    only_bent: Finite | None = None
    held_s: Finite | None = None
    reason: Note | None = None
