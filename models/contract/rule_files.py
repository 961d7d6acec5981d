"""Rule files of coaches, as the API gives them."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import Links, RulesId


class RulesResource(Document):
    """A rule file of a coach."""

    id: RulesId
    name: str
    findings: int = Field(ge=0, description="Findings in force, shipped ones included.")
    drills: int = Field(ge=0)
    created_at: datetime
    links: Links = Field(default_factory=dict)


class RulesPage(Document):
    """One page of rule files, newest first."""

    items: tuple[RulesResource, ...]
    next_cursor: str | None = None
