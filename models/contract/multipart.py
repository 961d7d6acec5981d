"""Films sent to the object store in parts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import ClipResource, Links


class FilmPart(Document):
    """One part of a film."""

    number: int = Field(ge=1, le=10_000)
    first_byte: int = Field(ge=0, description="Of the film, counted from 0.")
    size_bytes: int = Field(ge=1)
    arrived: bool
    url: str | None = Field(description="PUT these bytes to it; null once they have arrived.")


class MultipartUpload(Document):
    """Where the parts of a film go: each by PUT, in any order, several at a time."""

    clip: ClipResource
    method: Literal["PUT"] = "PUT"
    part_bytes: int = Field(ge=1, description="Size of all parts but the last.")
    parts: tuple[FilmPart, ...]
    expires_in_s: int = Field(description="How long the addresses are good; `parts` gives others.")
    links: Links = Field(default_factory=dict)
