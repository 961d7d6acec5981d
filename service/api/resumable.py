"""Uploads in parts with a key: the tus protocol at ``/v1/uploads``."""

from __future__ import annotations

from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.problem import Problem
from models.contract.uploads import UploadId, UploadResource
from service.api.allowed import allowed_methods
from service.api.dependencies import CanWriteClips, IdempotencyKey, Wired, represent
from service.api.file_bodies import file_schema
from service.api.routing import create_once
from service.api.tus import (
    PART_TYPE,
    Speaks,
    UploadChecksum,
    UploadLength,
    UploadMetadata,
    UploadOffset,
    abilities,
    length_of,
    metadata_of,
    offset_answer,
    receive_part,
    sends_part,
    standing,
)
from service.api.uploads import analysis_wanted, checked_reference, checked_session
from service.core.idempotency import Reply
from service.core.intake import checked_sha256
from service.core.principal import Principal
from service.core.resumable import ExpectedFilm
from service.core.tables import ResumableUpload
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/uploads", tags=["clips"])
UploadPath = Annotated[UploadId, Path(examples=["upl_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
PART: dict[str, Any] = {"content": {PART_TYPE: {"schema": file_schema(PART_TYPE)}}}
MOVED: dict[int | str, dict[str, Any]] = {
    204: {
        "description": "Kept. The film is in when Upload-Offset is its size.",
        "headers": {
            name: {"schema": {"type": "string"}} for name in ("Upload-Offset", "Upload-Expires")
        },
    },
}


def upload_resource(wired: Wiring, row: ResumableUpload, here: str) -> UploadResource:
    """Return an upload as a resource.

    Parameters
    ----------
    here : str
        Its address.
    """
    analysis: str | None = None
    if row.clip_id is not None and row.analyse is not None:
        analysis = wired.arrivals.analysis_of(row.clip_id)
    links = {"self": here}
    if row.clip_id is not None:
        links["clip"] = f"/v1/clips/{row.clip_id}"
    if analysis is not None:
        links["analysis"] = f"/v1/analyses/{analysis}"
    ended = row.finished_at is not None
    return UploadResource(
        id=row.id,
        state="receiving" if not ended else "refused" if row.clip_id is None else "finished",
        length=row.length,
        received=row.received,
        created_at=row.created_at,
        expires_at=row.expires_at,
        clip_id=row.clip_id,
        analysis_id=analysis,
        problem=None if row.problem is None else Problem.model_validate(row.problem),
        links=links,
    )


@router.options("", include_in_schema=False)
def upload_abilities(request: Request, wired: Wired, _principal: CanWriteClips) -> Response:
    """Say what is known of the protocol."""
    answer = abilities(wired)
    answer.headers["allow"] = allowed_methods(request)
    return answer


@router.post(
    "",
    operation_id="create_upload",
    summary="Begin an upload in parts",
    status_code=201,
    response_model=UploadResource,
    dependencies=[Speaks],
    openapi_extra={"requestBody": {"required": False, **PART}},
)
async def create_upload(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    key: IdempotencyKey,
    length: UploadLength = None,
    metadata: UploadMetadata = None,
    checksum: UploadChecksum = None,
) -> Response:
    """Begin to send a film in parts, by the tus protocol 1.0.0, so that it can be resumed after a
    broken connection. Send parts with `PATCH` to the address in `Location`, ask with `HEAD` where
    to go on. The body may be the first part.

    The film comes in like one of `POST /v1/clips`, once its last byte is here; `GET` on the upload
    then names the clip.
    """
    said = metadata_of(metadata)
    wanted = ExpectedFilm(
        length=length_of(length),
        sha256=checked_sha256(said["sha256"]) if "sha256" in said else None,
        external_ref=checked_reference(said.get("external_ref")),
        session_id=checked_session(said.get("session_id")),
        analyse=analysis_wanted(said.get("analyse")),
    )
    return await begin(
        request, wired, principal, key, wanted, route="POST /v1/uploads", checksum=checksum
    )


async def begin(
    request: Request,
    wired: Wiring,
    principal: Principal,
    key: str | None,
    wanted: ExpectedFilm,
    *,
    route: str,
    checksum: str | None,
    check: Any = lambda _session: None,
) -> Response:
    """Enter an upload once a key, take in the first part if there is one, and say where it is.

    Parameters
    ----------
    check : callable
        Is called with the session of the transaction before the upload is entered.
    """
    here = request.url.path
    said = [wanted.length, wanted.sha256, wanted.external_ref, wanted.session_id, wanted.analyse]
    if wanted.consent_id is not None:
        said.append(wanted.consent_id)

    def effect(session: Session) -> str:
        check(session)
        return wired.uploads.create(session, principal, wanted).id

    def show(reply: Reply) -> UploadResource:
        row = wired.uploads.get(principal, reply.resource_id, wanted.link_id)
        return upload_resource(wired, row, f"{here}/{row.id}")

    def enter() -> tuple[Response, ResumableUpload]:
        response = create_once(
            request,
            wired,
            principal,
            key,
            route=route,
            body=said,
            effect=effect,
            show=show,
        )
        upload_id = response.headers["location"].rpartition("/")[2]
        return response, wired.uploads.get(principal, upload_id, wanted.link_id)

    response, row = await to_thread.run_sync(enter)
    if sends_part(request) and row.received == 0 and row.finished_at is None:
        row = await receive_part(request, wired, principal, row, "0", checksum)
    response.headers.update(standing(row))
    return response


@router.head("/{upload_id}", include_in_schema=False, dependencies=[Speaks])
def upload_offset(wired: Wired, principal: CanWriteClips, upload_id: UploadPath) -> Response:
    """Say where an upload stands."""
    return offset_answer(wired.uploads.open(principal, upload_id, None))


@router.get(
    "/{upload_id}",
    operation_id="read_upload",
    summary="Read an upload",
    response_model=UploadResource,
)
def read_upload(
    request: Request, wired: Wired, principal: CanWriteClips, upload_id: UploadPath
) -> Response:
    """Read where an upload stands, and the clip that it has become. (`HEAD` answers by the tus
    protocol: `Upload-Offset`, `Upload-Length`, `Upload-Expires`.)
    """
    row = wired.uploads.get(principal, upload_id, None)
    return represent(request, upload_resource(wired, row, request.url.path))


@router.patch(
    "/{upload_id}",
    operation_id="send_upload_part",
    summary="Send a part of an upload",
    status_code=204,
    response_class=Response,
    dependencies=[Speaks],
    openapi_extra={"requestBody": {"required": True, **PART}},
    responses=MOVED,
)
async def send_upload_part(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    upload_id: UploadPath,
    offset: UploadOffset = None,
    checksum: UploadChecksum = None,
) -> Response:
    """Send bytes from the offset on; as many as you like. What arrived before a connection broke is
    kept, unless the part has a checksum. With the last part the film is checked and comes in; a
    film that is refused ends the upload.
    """
    row = await to_thread.run_sync(wired.uploads.open, principal, upload_id, None)
    row = await receive_part(request, wired, principal, row, offset, checksum)
    return Response(status_code=204, headers=standing(row))


@router.delete(
    "/{upload_id}",
    operation_id="end_upload",
    summary="Give an upload up",
    status_code=204,
    dependencies=[Speaks],
)
def end_upload(wired: Wired, principal: CanWriteClips, upload_id: UploadPath) -> Response:
    """Remove what has arrived. A clip that the upload has become stays."""
    wired.uploads.end(principal, upload_id, None)
    return Response(status_code=204)
