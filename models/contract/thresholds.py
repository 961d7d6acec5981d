"""What practice rules hold values against."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from models.contract.base import Document, Finite
from models.contract.vocabulary import EventName

Relation = Literal[">=", "<="]


class Threshold(Document):
    """What a rule holds a value against."""

    finding: str = Field(description="Id of the finding.")
    metrics: tuple[str, ...] = Field(min_length=1, description="Its metric, and the other one.")
    event: EventName | None
    is_: Relation = Field(alias="is", description="The finding holds when the value is this.")
    value: Finite
    unit: str
    source: str
