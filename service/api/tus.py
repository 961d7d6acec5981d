"""The tus protocol for uploads that can be resumed, version 1.0.0 (https://tus.io), over HTTP:
its headers, and the requests that begin, continue and end an upload.

Extensions: creation, creation-with-upload, termination, expiration, checksum.
"""

from __future__ import annotations

import base64
import binascii
from email.utils import format_datetime
from typing import Annotated

from anyio import CancelScope, to_thread
from fastapi import Depends, Header, Request, Response
from starlette.datastructures import MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from models.contract.errors import (
    InvalidRequest,
    MalformedRequest,
    NotAVideo,
    ServewrightError,
    UnsupportedMediaType,
    UploadProtocol,
)
from models.contract.note_codes import NoteCode, say
from service.core.parts import ALGORITHMS, Checksum, PartWriter
from service.core.principal import Principal
from service.core.tables import ResumableUpload
from service.core.wiring import Wiring

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,termination,expiration,checksum"
PART_TYPE = "application/offset+octet-stream"
OVERRIDABLE = frozenset({"PATCH", "DELETE", "HEAD"})
"""Methods that clients behind old proxies send as POST with X-HTTP-Method-Override."""


def is_upload_path(path: str) -> bool:
    """Tell whether the protocol is spoken at an address."""
    return "/uploads" in path and path.startswith(("/v1/uploads", "/i/"))


def speaks(
    version: Annotated[
        str,
        Header(
            alias="Tus-Resumable",
            description="Version of the tus protocol: `1.0.0`.",
            examples=[VERSION],
        ),
    ],
) -> None:
    """Raise unless the request speaks the version that is known here."""
    if version != VERSION:
        raise UploadProtocol(headers={"tus-version": VERSION})


Speaks = Depends(speaks)
UploadLength = Annotated[
    str | None,
    Header(
        alias="Upload-Length",
        description="Size of the film, bytes.",
        json_schema_extra={"pattern": "^[1-9][0-9]{0,15}$"},
        examples=["4183212"],
    ),
]
UploadOffset = Annotated[
    str | None,
    Header(
        alias="Upload-Offset",
        description="Byte that the part begins at, as HEAD tells it.",
        json_schema_extra={"pattern": "^(0|[1-9][0-9]{0,15})$"},
        examples=["0"],
    ),
]
UploadMetadata = Annotated[
    str | None,
    Header(
        alias="Upload-Metadata",
        description="Pairs of a key and its value in Base64, with commas between them. Keys: "
        "`sha256` (of the whole film, hexadecimal), `external_ref`, `session_id`, `analyse` "
        "(`true`, or analysis options as JSON), `consent`. Others are not kept.",
        examples=["analyse dHJ1ZQ=="],
    ),
]
UploadChecksum = Annotated[
    str | None,
    Header(
        alias="Upload-Checksum",
        description="`sha256` or `sha1`, and the digest of the part in Base64. The part is then "
        "kept whole or not at all.",
        json_schema_extra={"pattern": "^(sha1 [A-Za-z0-9+/]{27}=|sha256 [A-Za-z0-9+/]{43}=)$"},
        examples=["sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0="],
    ),
]


def length_of(text: str | None) -> int:
    """Return the size of a film that is announced."""
    if text is None or not text.isdecimal() or not 1 <= int(text[:19]) < 10**16:
        raise InvalidRequest(say(NoteCode.UPLOAD_LENGTH_NEEDED), pointer="Upload-Length")
    return int(text)


def metadata_of(text: str | None) -> dict[str, str]:
    """Return the pairs of Upload-Metadata."""
    found: dict[str, str] = {}
    for pair in (text or "").split(","):
        key, _, value = pair.strip().partition(" ")
        if not key and not value:
            continue
        try:
            found[key] = base64.b64decode(value.strip(), validate=True).decode()
        except (binascii.Error, UnicodeDecodeError):
            raise InvalidRequest(
                say(NoteCode.UPLOAD_METADATA_FORM), pointer="Upload-Metadata"
            ) from None
    return found


def checksum_of(text: str | None) -> Checksum | None:
    """Return what Upload-Checksum says."""
    if text is None:
        return None
    algorithm, _, value = text.strip().partition(" ")
    try:
        digest = base64.b64decode(value.strip(), validate=True)
    except binascii.Error:
        digest = b""
    if algorithm not in ALGORITHMS or len(digest) != {"sha1": 20, "sha256": 32}[algorithm]:
        raise MalformedRequest(say(NoteCode.UPLOAD_CHECKSUM_FORM, known=ALGORITHMS))
    return Checksum(algorithm, digest)


def sends_part(request: Request) -> bool:
    """Tell whether a body is a part of an upload."""
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    return kind == PART_TYPE


def standing(row: ResumableUpload) -> dict[str, str]:
    """Return the headers that say where an upload stands."""
    headers = {"upload-offset": str(row.received), "cache-control": "no-store"}
    if row.finished_at is None:
        headers["upload-expires"] = format_datetime(row.expires_at, usegmt=True)
    return headers


def abilities(wired: Wiring) -> Response:
    """Return what is known of the protocol here."""
    headers = {
        "tus-version": VERSION,
        "tus-extension": EXTENSIONS,
        "tus-max-size": str(wired.settings.max_clip_bytes),
        "tus-checksum-algorithm": ",".join(ALGORITHMS),
    }
    return Response(status_code=204, headers=headers)


def offset_answer(row: ResumableUpload) -> Response:
    """Return the answer to HEAD."""
    headers = {**standing(row), "upload-length": str(row.length)}
    return Response(status_code=200, headers=headers)


async def receive_part(
    request: Request,
    wired: Wiring,
    principal: Principal,
    row: ResumableUpload,
    offset: str | None,
    checksum: str | None,
) -> ResumableUpload:
    """Take in a part, and the film when it is the last one; return the upload as it stands then.

    What arrived before the caller went away is kept.
    """
    if not sends_part(request):
        raise UnsupportedMediaType(say(NoteCode.UPLOAD_PART_TYPE))
    if offset is None or not offset.isdecimal() or len(offset) > 16:
        raise InvalidRequest(say(NoteCode.UPLOAD_OFFSET_NEEDED), pointer="Upload-Offset")
    if row.finished_at is not None and int(offset) == row.length:
        return row  # its last part came before
    writer = PartWriter(wired.uploads, row, int(offset), checksum_of(checksum))
    try:
        async for chunk in request.stream():
            if writer.add(chunk):
                await to_thread.run_sync(writer.flush)
        with CancelScope(shield=True):
            row = await to_thread.run_sync(writer.finish)
    except ClientDisconnect:  # nobody hears the answer
        with CancelScope(shield=True):
            await to_thread.run_sync(writer.cut)
        row = writer.row
    except NotAVideo as error:
        await to_thread.run_sync(wired.arrivals.refuse, row, error)
        raise
    except ServewrightError:
        with CancelScope(shield=True):
            await to_thread.run_sync(writer.cut)
        raise
    if row.received == row.length:
        with CancelScope(shield=True):
            row = await to_thread.run_sync(wired.arrivals.finish, principal, row)
    return row


class ResumableProtocol:
    """Outermost: names the version in every answer, and takes the method that a header names."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or not is_upload_path(scope["path"]):
            await self._app(scope, receive, send)
            return
        for name, value in scope["headers"]:
            method = value.decode("latin-1").upper()
            if name == b"x-http-method-override" and method in OVERRIDABLE:
                scope = {**scope, "method": method}

        async def outgoing(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("tus-resumable", VERSION)
                if message["status"] >= 400 and scope["method"] in ("PATCH", "POST"):
                    headers["connection"] = "close"  # the rest of the part need not be sent
            await send(message)

        await self._app(scope, receive, outgoing)
