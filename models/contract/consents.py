"""What the HTTP API takes and gives of consents: who agreed to what, for whose films, and when."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from models.contract.accounts import Name
from models.contract.base import Document
from models.contract.coaching import Moment, PlayerId
from models.contract.resources import PRINTABLE_PATTERN, Links, SessionId

ConsentId = Annotated[str, Field(pattern=r"^cns_[0-9a-f]{32}$")]
TEXT_PATTERN = r"^[^\x00-\x08\x0b-\x1f\x7f]*$"
"""Printable, with tabs and line breaks."""
Version = Annotated[str, Field(min_length=1, max_length=50, pattern=PRINTABLE_PATTERN)]
Giver = Annotated[
    Literal["player", "guardian"],
    Field(description="player: of age, for their own films. guardian: parent or guardian."),
]


class Covered(StrEnum):
    """What a wording allows."""

    ANALYSIS = "analysis"
    SHARING = "sharing"


Covers = Annotated[
    tuple[Covered, ...],
    Field(
        min_length=1,
        max_length=2,
        description="analysis: films are kept and measured. sharing: results go to others by share "
        "links. A record for your own use: the service refuses nothing by it.",
    ),
]
KeepDays = Annotated[
    int | None,
    Field(
        ge=1,
        le=3650,
        description="Films may be kept so many days, also those of a minor; null = the wording "
        "says nothing of it.",
    ),
]


class ConsentText(Document):
    """What somebody has to agree to."""

    text: str = Field(min_length=1, max_length=8000, pattern=TEXT_PATTERN)
    version: Version = Field(description="Your own name of this wording; kept with each consent.")
    covers: Covers = (Covered.ANALYSIS,)
    keep_films_days: KeepDays = None


class ConsentRequest(Document):
    """Agrees to the text of a link."""

    given_by: Giver
    name: Name = Field(description="Who agrees.")
    version: Version = Field(description="Version of the text that was read.")


class PlayerConsentRequest(ConsentText):
    """Records a consent that was given elsewhere: on paper, in your app."""

    given_by: Giver
    name: Name = Field(description="Who agreed.")
    given_at: Moment | None = Field(default=None, description="Null = now.")


class ConsentResource(Document):
    """Who agreed to what, and when."""

    id: ConsentId
    given_at: datetime
    given_by: Giver
    name: str
    version: str
    text: str = Field(description="The wording that was agreed to.")
    covers: Covers
    keep_films_days: KeepDays = None
    withdrawn_at: datetime | None = Field(
        default=None, description="From then on no film comes in under it; those there were erased."
    )
    expires_at: datetime | None = Field(
        default=None,
        description="Films can be sent through the link under it until then; null = not by a link.",
    )
    player_id: PlayerId | None = None
    session_id: SessionId | None = None
    clips: tuple[str, ...] = Field(default=(), description="Clips that came under it by a link.")
    links: Links = Field(default_factory=dict)


class ConsentPage(Document):
    """One page of consents, newest first."""

    items: tuple[ConsentResource, ...]
    next_cursor: str | None = None
