"""Facts about a clip, read from the file before and while decoding."""

from __future__ import annotations

from pydantic import Field

from models.contract.base import Digest, Document, Finite
from models.contract.note import Note
from models.contract.vocabulary import Severity


class ClipFacts(Document):
    """What a clip is, as a film. Width and height are those of the upright picture; 0 = there is
    none (joints in metres from elsewhere).
    """

    duration_s: Finite = Field(ge=0)
    frame_rate: Finite = Field(gt=0, description="Mean capture rate, frames per second.")
    frame_rate_variable: bool = False
    capture_fps_given: Finite | None = Field(
        default=None, description="Rate the caller stated for a slow-motion file."
    )
    frames: int = Field(ge=0, description="Frames decoded.")
    frames_expected: int | None = Field(default=None, description="Frames the container states.")
    width: int = Field(ge=0)
    height: int = Field(ge=0)
    rotation_deg: int = Field(default=0, description="Rotation flag that was applied.")
    container: str | None = None
    codec: str | None = None
    pixel_format: str | None = None
    hdr: str | None = Field(default=None, description="HLG or PQ transfer, if any.")
    sha256: Digest | None = None
    size_bytes: int | None = Field(default=None, ge=0)


class UsabilityCheck(Document):
    """One question asked of a clip before its numbers are trusted."""

    key: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    passed: bool
    severity: Severity = Field(description="What it means when it is not passed.")
    value: Finite | None = None
    unit: str | None = None
    detail: Note


class Usability(Document):
    """Whether the clip can be used, and for what not."""

    usable: bool
    checks: tuple[UsabilityCheck, ...] = ()
