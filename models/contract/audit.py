"""What the HTTP API gives of the audit log."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from models.contract.base import Document


class ActorKind(StrEnum):
    """Who did it: a key, a link, the service by itself (what is past its time), a command."""

    KEY = "key"
    LINK = "link"
    SERVICE = "service"
    COMMAND = "command"


class AuditEntryResource(Document):
    """Something that was read or changed."""

    id: str
    at: datetime
    actor_kind: ActorKind
    actor_id: str = Field(description="Id of the key or link; name of the part or command.")
    action: str = Field(description="The operationId of the call, such as `read_clip_content`.")
    subject_id: str | None = Field(default=None, description="What was read, changed or made.")
    player_id: str | None = Field(default=None, description="Whose it was, as far as known then.")


class AuditPage(Document):
    """One page of the audit log, newest first."""

    items: tuple[AuditEntryResource, ...]
    next_cursor: str | None = None
