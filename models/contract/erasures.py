"""Erasures: what was erased, how far it is, and the receipt that stays."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import Links

ErasureId = Annotated[str, Field(pattern=r"^era_[0-9a-f]{32}$")]
ErasureState = Literal["under_way", "completed"]


class ErasureResource(Document):
    """An erasure. It names ids and counts only, and is kept as a receipt."""

    id: ErasureId
    state: ErasureState = Field(
        description="completed: nothing is left here; backups of the operator are another matter."
    )
    of: str = Field(description="Id of what was erased, with all that hung on it.")
    requested_at: datetime
    clips: int = Field(ge=0, description="Films erased.")
    work: int = Field(ge=0, description="Analyses and documents erased.")
    files: int = Field(ge=0, description="Files removed from the object store so far.")
    rows_erased_at: datetime = Field(description="From then on nothing of it can be read here.")
    files_erased_at: datetime | None = Field(
        default=None, description="When the object store had removed all files."
    )
    database_cleaned_at: datetime | None = Field(
        default=None,
        description="When the database had overwritten the erased rows in its files.",
    )
    completed_at: datetime | None = Field(
        default=None,
        description="When no running job could write any more, and all of the above was done.",
    )
    links: Links = Field(default_factory=dict)


class ErasurePage(Document):
    """One page of erasures, newest first."""

    items: tuple[ErasureResource, ...]
    next_cursor: str | None = None
