"""The wording of codes and values, as the API gives it."""

from __future__ import annotations

from pydantic import Field

from models.contract.base import Document


class Wording(Document):
    """The wording of codes and values in one language."""

    language: str
    languages: tuple[str, ...] = Field(description="All languages there are, the default first.")
    entries: dict[str, str | dict[str, str]] = Field(
        description="Templates by dotted name; plural forms by CLDR name."
    )
