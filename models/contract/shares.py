"""What the HTTP API takes and gives of share links: results that are read without a key."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import Links

ShareId = Annotated[str, Field(pattern=r"^shr_[0-9a-f]{32}$")]
WorkId = Annotated[str, Field(pattern=r"^(ana|cmp|prg|pln|drl)_[0-9a-f]{32}$")]
SharedFile = Annotated[
    Literal["report.html", "film.mp4", "clip"],
    Field(
        description="clip: the film itself, of an analysis. Of a player who may be under 18 files "
        "are sent with hidden faces, those without such a version not at all."
    ),
]


class ShareLinkRequest(Document):
    """Asks for an address under which results can be read without a key."""

    of: WorkId = Field(description="An analysis or a document made from analyses, completed.")
    files: tuple[SharedFile, ...] = Field(
        default=("report.html",), min_length=1, max_length=3, description="What can be read there."
    )
    expires_in_days: int = Field(default=30, ge=1, le=365)


class ShareLinkResource(Document):
    """An address under which results can be read without a key."""

    id: ShareId
    of: WorkId
    files: tuple[SharedFile, ...]
    state: Literal["open", "expired", "revoked"]
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None
    views: int = Field(description="How often its page was opened.")
    last_viewed_at: datetime | None = None
    links: Links = Field(default_factory=dict)


class ShareLinkCreated(ShareLinkResource):
    """A new link with its address, which is shown only here."""

    url: str = Field(description="To be handed on. Whoever has it can read these files.")


class ShareLinkPage(Document):
    """One page of share links, newest first."""

    items: tuple[ShareLinkResource, ...]
    next_cursor: str | None = None
