"""What is asked for when a stored result is measured anew."""

from __future__ import annotations

from pydantic import Field

from models.contract.base import Document
from models.contract.resources import RulesId


class AgainRequest(Document):
    """What else to do than measure the stored joints anew."""

    pictures: bool = Field(
        default=False,
        description="Also draw the pictures anew from the film, with the coach's own lines.",
    )
    rules_id: RulesId | None = Field(
        default=None, description="As among the options; null = as the earlier analysis had it."
    )
