"""What the HTTP API takes and gives of intake links: films that come in without a key."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.accounts import Name
from models.contract.base import Document
from models.contract.coaching import PlayerId
from models.contract.consents import ConsentText
from models.contract.progress import SessionKind
from models.contract.resources import (
    ExternalRef,
    FilmOptions,
    Links,
    SessionId,
)

LinkId = Annotated[str, Field(pattern=r"^lnk_[0-9a-f]{32}$")]


class IntakeLinkRequest(Document):
    """Asks for an address through which films come in without a key."""

    label: Name = Field(description="Who asks for the films, as the page says it.")
    player_id: PlayerId | None = Field(
        default=None, description="The player whose films they are; null = an open call."
    )
    session_id: SessionId | None = Field(
        default=None,
        description="Where the films are filed. Null with a player: each visit is a new session.",
    )
    session_kind: SessionKind = Field(
        default=SessionKind.BASELINE, description="Kind of the sessions that visits make."
    )
    max_films: int = Field(default=10, ge=1, le=1000)
    max_bytes: int | None = Field(
        default=None, ge=1, le=2**53, description="Of all films together; null = no limit."
    )
    expires_in_days: int = Field(default=14, ge=1, le=365)
    consent: ConsentText
    analyse: FilmOptions | None = Field(
        default=None, description="Start an analysis with these options when a film is in."
    )
    external_ref: ExternalRef | None = Field(
        default=None, description="Your own reference, given to each clip."
    )


class IntakeLinkResource(Document):
    """An address through which films come in without a key."""

    id: LinkId
    label: str
    state: Literal["open", "full", "expired", "revoked"]
    player_id: PlayerId | None = None
    session_id: SessionId | None = None
    session_kind: SessionKind
    max_films: int
    max_bytes: int | None = None
    films: int = Field(description="Films that came or are coming through it and are still here.")
    bytes: int = Field(description="Size of these films.")
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None
    consent: ConsentText
    analyse: FilmOptions | None = None
    external_ref: str | None = None
    links: Links = Field(default_factory=dict)


class IntakeLinkCreated(IntakeLinkResource):
    """A new link with its address, which is shown only here."""

    url: str = Field(description="To be handed on. Whoever has it can send films.")


class IntakeLinkPage(Document):
    """One page of intake links, newest first."""

    items: tuple[IntakeLinkResource, ...]
    next_cursor: str | None = None


class Invitation(Document):
    """What a link asks for, told to whoever has it."""

    label: str
    consent: ConsentText
    guardian_only: bool = Field(description="The player is known to be a minor.")
    films_left: int
    bytes_left: int | None = Field(default=None, description="Null = no limit.")
    expires_at: datetime
    links: Links = Field(default_factory=dict)
