"""What only joints from elsewhere need to be told: axes and markers."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from models.contract.base import Document, Finite
from models.contract.refusals import Refusal, refused

MarkerName = Annotated[str, Field(min_length=1, max_length=80)]


class HorizontalDirection(Document):
    """A direction in the horizontal axes of a file; its length means nothing."""

    x: Finite
    y: Finite

    @model_validator(mode="after")
    def _some_length(self) -> Self:
        if self.x == 0.0 and self.y == 0.0:
            raise refused(Refusal.DIRECTION_WITHOUT_LENGTH)
        return self


class JointOptions(Document):
    """How a file of joints in metres is to be read."""

    target: HorizontalDirection | None = Field(
        default=None,
        description="Direction of the target in the file's own axes; null = found from the swing.",
    )
    accuracy_m: Annotated[float, Field(ge=0.0002, le=0.2)] | None = Field(
        default=None,
        description="Standard deviation of each coordinate of npz and C3D files in metres, as "
        "whoever measured them states it; null = 0.005, or more where segments waver by more. "
        "JSON bodies carry their own.",
    )
    markers: dict[MarkerName, tuple[MarkerName, ...]] = Field(
        default_factory=dict,
        max_length=100,
        description="Of a C3D file: which markers make a joint (`left_shoulder`, …), each joint "
        "being their mean; none = the points are named like the joints.",
    )
