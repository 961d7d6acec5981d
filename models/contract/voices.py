"""Voice messages of a coach: stored and played, never looked into."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.base import Digest, Document
from models.contract.resources import Links

VoiceId = Annotated[str, Field(pattern=r"^voc_[0-9a-f]{32}$")]
VoiceType = Literal["audio/mp4", "audio/webm", "audio/ogg", "audio/mpeg", "audio/wav"]


class VoiceResource(Document):
    """A spoken message for one player."""

    id: VoiceId
    player_id: str
    created_at: datetime
    media_type: VoiceType = Field(description="By its content, whatever was said of it.")
    size_bytes: int = Field(ge=1)
    sha256: Digest = Field(description="Of what is kept: tags and places are taken out.")
    links: Links = Field(default_factory=dict)


class VoicePage(Document):
    """One page of voice messages, newest first."""

    items: tuple[VoiceResource, ...]
    next_cursor: str | None = None
