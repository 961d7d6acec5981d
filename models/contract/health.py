"""What the service says of its own state."""

from __future__ import annotations

from typing import Literal

from models.contract.base import Document


class Alive(Document):
    """The process answers."""

    status: Literal["alive"] = "alive"


class Check(Document):
    """One thing the service needs."""

    ok: bool
    detail: str | None = None


class Readiness(Document):
    """Whether requests can be served, and what is in the way."""

    ready: bool
    checks: dict[str, Check]
