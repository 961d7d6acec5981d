"""Pages of other origins that may call the API from a browser (Fetch standard, CORS protocol).

Off unless origins are set. Keys travel in a header of their own, never in cookies, so credentials
are not part of it.
"""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import FastAPI
from starlette.middleware.cors import CORSMiddleware

from service.api.allowed import METHODS

SENT = (
    "Authorization",
    "Content-Type",
    "Content-Digest",
    "Repr-Digest",
    "Idempotency-Key",
    "If-Match",
    "If-None-Match",
    "If-Range",
    "Range",
    "X-Request-Id",
    "Tus-Resumable",
    "Upload-Checksum",
    "Upload-Concat",
    "Upload-Defer-Length",
    "Upload-Length",
    "Upload-Metadata",
    "Upload-Offset",
)
"""Fields that scripts may send, those of resumable uploads (tus 1.0) among them."""
READ = (
    "Accept-Ranges",
    "Allow",
    "Content-Disposition",
    "Content-Language",
    "Content-Range",
    "ETag",
    "Idempotency-Replayed",
    "Link",
    "Location",
    "Retry-After",
    "WWW-Authenticate",
    "X-Request-Id",
    "Tus-Checksum-Algorithm",
    "Tus-Extension",
    "Tus-Max-Size",
    "Tus-Resumable",
    "Tus-Version",
    "Upload-Expires",
    "Upload-Length",
    "Upload-Metadata",
    "Upload-Offset",
)
"""Fields of answers that scripts may read."""
PREFLIGHT_S = 600
"""Seconds for which a browser may remember what it was allowed."""


def allow_origins(app: FastAPI, origins: Sequence[str]) -> None:
    """Let pages of these origins call the API; outermost, so that they can read errors too."""
    if origins:
        app.add_middleware(
            CORSMiddleware,
            allow_origins=tuple(origins),
            allow_methods=METHODS,
            allow_headers=SENT,
            expose_headers=READ,
            max_age=PREFLIGHT_S,
        )
