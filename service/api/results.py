"""Result files of queued work as responses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request, Response

from models.contract.errors import NoLongerKept, NotFound, WorkNotEnded, WorkWithoutResult
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import AnalysisStatus
from service.api.representations import send_object
from service.core.keeping import JOINTS
from service.core.tables import Work
from service.core.wiring import Wiring

PAGE_POLICY = (
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:"
)
"""Reports are complete without any host, and need no scripts."""


def send_result(
    request: Request,
    wired: Wiring,
    row: Work,
    name: str,
    schemas: Mapping[str, str],
) -> Response:
    """Return a result file of some work.

    Raises
    ------
    WorkNotEnded, WorkWithoutResult
        The work has not ended, or ended without results.
    NoLongerKept
        Its time was over.
    NotFound
        It made no file of that name.
    """
    artifact: dict[str, Any] | None = row.artifacts.get(name)
    if artifact is None:
        if row.status in (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING):
            raise WorkNotEnded(about=row.id)
        if row.status != AnalysisStatus.COMPLETED:
            said = say(NoteCode.STATUS_WITHOUT_RESULT, status=row.status)
            raise WorkWithoutResult(said, about=row.id)
        over = row.joints_removed_at if name in JOINTS else row.reports_removed_at
        if over is not None:
            raise NoLongerKept()
        raise NotFound(say(NoteCode.NO_RESULT))
    headers = {}
    if schema := artifact.get("schema") or schemas.get(name):
        headers["link"] = f'</schemas/{schema}>; rel="describedby"'
    if artifact["media_type"].startswith("text/html"):
        headers["content-security-policy"] = PAGE_POLICY
    return send_object(
        request,
        wired.objects,
        key=artifact["key"],
        sha256=artifact["sha256"],
        size_bytes=artifact["size_bytes"],
        media_type=artifact["media_type"],
        headers=headers,
    )
