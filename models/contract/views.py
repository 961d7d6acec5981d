"""What a second film of the same serve added, and how it was put beside the first."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from models.contract.base import Document, Finite
from models.contract.clip import ClipFacts


class SecondView(Document):
    """Another film of the serve. Intervals hold 95 % by the fit's own uncertainty."""

    clip: ClipFacts | None = None
    offset_s: Finite = Field(
        description="What to add to a time of the first film for the same instant of this one, "
        "seconds."
    )
    offset_low: Finite
    offset_high: Finite
    apart_deg: Finite = Field(
        ge=-180.0,
        le=180.0,
        description="How far the look from this camera at the standing player is turned to the "
        "left of the first's, along the floor, degrees: the angle between both cameras, seen from "
        "the player.",
    )
    apart_low: Finite
    apart_high: Finite
    synchronised_by: Literal["movement", "movement_and_sound"]
