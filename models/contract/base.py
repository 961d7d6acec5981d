"""Base of all contract documents: frozen, closed, finite numbers only."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticKnownError

SCHEMA_BASE = "https://servewright.example/schemas/"
"""Stable base of every schema ``$id``. The same files are served under ``/schemas/``."""

Finite = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256, hexadecimal.")]


class Document(BaseModel):
    """A part of the contract: immutable, and closed to unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def or_earlier(current: str, *earlier: str) -> BeforeValidator:
    """Read documents that state an earlier schema as documents of the current one.

    For versions whose parts the types themselves take in every form.
    """
    return BeforeValidator(lambda stated: current if stated in earlier else stated)


def refuse_bool(value: object) -> object:
    """Refuse true and false, which would pass for 1 and 0."""
    if isinstance(value, bool):
        raise PydanticKnownError("int_type")
    return value
