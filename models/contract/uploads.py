"""What the HTTP API gives of uploads that can be resumed."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from models.contract.base import Document
from models.contract.problem import Problem
from models.contract.resources import AnalysisId, ClipId, Links

UploadId = Annotated[str, Field(pattern=r"^upl_[0-9a-f]{32}$")]


class UploadResource(Document):
    """A film that arrives in parts."""

    id: UploadId
    state: Literal["receiving", "finished", "refused"] = Field(
        description="finished: the film is the clip named. refused: `problem` says why."
    )
    length: int = Field(description="Size of the film, bytes.")
    received: int = Field(description="Bytes that are here; the next part begins there.")
    created_at: datetime
    expires_at: datetime = Field(description="Forgotten then, unless more of it has arrived.")
    clip_id: ClipId | None = None
    analysis_id: AnalysisId | None = Field(
        default=None, description="The analysis that was started when the film was in."
    )
    problem: Problem | None = Field(
        default=None,
        description="Why the film was refused; beside a clip, why no analysis was started.",
    )
    links: Links = Field(default_factory=dict)
