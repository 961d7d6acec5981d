"""Preconditions of a request against the present state of what it is about (RFC 9110 13)."""

from __future__ import annotations

from fastapi import Request

from models.contract.errors import PreconditionFailed
from service.api.conditional import Judgement, judged


def not_modified(request: Request, tag: str) -> bool:
    """Tell whether the caller has the content of this entity tag already: answer 304.

    Raises
    ------
    PreconditionFailed
        If-Match or, where it is no reading, If-None-Match does not hold.
    """
    fields = (_field(request, name) for name in ("if-match", "if-none-match"))
    outcome = judged(request.method, tag, *fields)
    if outcome is Judgement.FAILED:
        raise PreconditionFailed()
    return outcome is Judgement.NOT_MODIFIED


def _field(request: Request, name: str) -> str | None:
    """Return a field with all its lines (RFC 9110 5.2)."""
    lines = request.headers.getlist(name)
    return ", ".join(lines) if lines else None
