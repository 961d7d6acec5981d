"""What the HTTP API takes and gives of organisations, their API keys and what they used."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from models.contract.base import Document, Finite, refuse_bool
from models.contract.coaching import PlayerId
from models.contract.keeping import KeepingRule
from models.contract.resources import PRINTABLE_PATTERN, Links, SessionId

KeyId = Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
OrganisationId = Annotated[
    str,
    Field(pattern=r"^[a-z][a-z0-9_]{0,99}$", description="`main` is the first of an installation."),
]
Month = Annotated[str, Field(pattern=r"^[0-9]{4}-(0[1-9]|1[0-2])$", examples=["2026-11"])]
Name = Annotated[str, Field(min_length=1, max_length=100, pattern=PRINTABLE_PATTERN)]

Limit = Annotated[int, Field(ge=0, le=2**53), BeforeValidator(refuse_bool)] | None
"""0 = no limit; null = as the settings of the installation say."""

ScopeName = Literal[
    "clips:read",
    "clips:write",
    "analyses:write",
    "results:read",
    "webhooks:manage",
    "clips:erase",
    "players:read",
    "players:write",
    "rules:manage",
    "intake:manage",
    "shares:manage",
    "admin",
]


class OrganisationLimits(Document):
    """Limits of an organisation. 0 = none; null = as the settings of the installation say."""

    requests_per_minute: Limit = None
    films_per_month: Limit = None
    stored_bytes: Limit = Field(default=None, description="Of all films that are kept.")
    waiting_work: Limit = Field(
        default=None, description="Analyses and documents that are queued or running."
    )
    processor_s_per_month: Limit = None

    def own(self) -> dict[str, int]:
        """Return those that are given."""
        return self.model_dump(exclude_none=True)


class OrganisationRequest(Document):
    """Asks for an organisation."""

    name: Name
    limits: OrganisationLimits = OrganisationLimits()
    keeping: KeepingRule = KeepingRule()


class OrganisationChange(Document):
    """What is to be changed; what is left out stays."""

    name: Name | None = None
    limits: OrganisationLimits | None = None
    keeping: KeepingRule | None = None


class OrganisationResource(Document):
    """An organisation: whoever has players, films and keys of their own."""

    id: OrganisationId
    name: str
    created_at: datetime
    updated_at: datetime
    limits: OrganisationLimits = Field(description="Its own; null = as the installation's.")
    limits_in_force: OrganisationLimits
    keeping: KeepingRule = Field(description="Its own; null = as the installation's.")
    keeping_in_force: KeepingRule
    links: Links


class OrganisationCreated(OrganisationResource):
    """A new organisation with its first admin key, which is shown only here."""

    key_id: KeyId
    key: str


class OrganisationPage(Document):
    """One page of organisations, newest first."""

    items: tuple[OrganisationResource, ...]
    next_cursor: str | None = None


class MonthUsed(Document):
    """What an organisation used in one calendar month (UTC)."""

    month: Month
    films: int = Field(description="Films received.")
    bytes: int = Field(description="Size of these films.")
    analyses: int = Field(description="Analyses that ended with a result.")
    film_minutes: Finite = Field(description="Length of the films in them, minutes.")
    processor_s: Finite = Field(
        description="Processor time of workers for work that ended, failed work included, seconds."
    )


class OrganisationUsage(Document):
    """What an organisation used, by month. Months without any use are left out."""

    organisation_id: OrganisationId
    months: tuple[MonthUsed, ...]


class ApiKeyRequest(Document):
    """Asks for an API key."""

    name: Name
    scopes: tuple[ScopeName, ...] = Field(min_length=1, max_length=12)
    expires_in_days: int | None = Field(default=None, ge=1, le=3650)
    player_id: PlayerId | None = Field(
        default=None, description="The only player it reaches; null = all."
    )
    session_id: SessionId | None = Field(
        default=None, description="The only session it reaches; null = all."
    )


class ApiKeyRotation(Document):
    """How an API key is replaced."""

    overlap_hours: int = Field(
        default=24, ge=0, le=720, description="Hours for which the former key stays good."
    )


class ApiKeyResource(Document):
    """An API key, without its secret."""

    id: KeyId
    name: str
    scopes: tuple[str, ...]
    player_id: PlayerId | None = None
    session_id: SessionId | None = None
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    last_used_at: datetime | None = Field(default=None, description="To the hour.")
    rotated_at: datetime | None = None
    previous_until: datetime | None = Field(
        default=None, description="Until when the key before the last rotation is good."
    )


class ApiKeyCreated(ApiKeyResource):
    """A new or replaced API key, shown only here."""

    key: str


class ApiKeyList(Document):
    """All API keys of the organisation."""

    items: tuple[ApiKeyResource, ...]
