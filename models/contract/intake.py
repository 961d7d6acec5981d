"""What the HTTP API takes and gives of intake links: films that come in without a key."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.accounts import Name
from models.contract.base import Document
from models.contract.coaching import PlayerId
from models.contract.progress import SessionKind
from models.contract.resources import (
    PRINTABLE_PATTERN,
    ExternalRef,
    FilmOptions,
    Links,
    SessionId,
)

LinkId = Annotated[str, Field(pattern=r"^lnk_[0-9a-f]{32}$")]
ConsentId = Annotated[str, Field(pattern=r"^cns_[0-9a-f]{32}$")]
TEXT_PATTERN = r"^[^\x00-\x08\x0b-\x1f\x7f]*$"
"""Printable, with tabs and line breaks."""
Version = Annotated[str, Field(min_length=1, max_length=50, pattern=PRINTABLE_PATTERN)]
Giver = Annotated[
    Literal["player", "guardian"],
    Field(description="player: of age, for their own films. guardian: parent or guardian."),
]


class ConsentText(Document):
    """What whoever sends films has to agree to first."""

    text: str = Field(min_length=1, max_length=8000, pattern=TEXT_PATTERN)
    version: Version = Field(description="Your own name of this wording; kept with each consent.")


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


class ConsentRequest(Document):
    """Agrees to the text of a link."""

    given_by: Giver
    name: Name = Field(description="Who agrees.")
    version: Version = Field(description="Version of the text that was read.")


class ConsentResource(Document):
    """Who agreed to what, and when."""

    id: ConsentId
    given_at: datetime
    given_by: Giver
    name: str
    version: str
    expires_at: datetime = Field(description="Films can be sent under it until then.")
    session_id: SessionId | None = None
    clips: tuple[str, ...] = Field(default=(), description="Clips that came under it.")


class ConsentPage(Document):
    """One page of consents, newest first."""

    items: tuple[ConsentResource, ...]
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
