"""Films that are sent to the object store in parts."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from models.contract.errors import ClipTooLarge, NoDirectUpload
from models.contract.multipart import FilmPart, MultipartUpload
from models.contract.resources import DirectUploadRequest
from service.api.clips import ClipPath, clip_resource
from service.api.dependencies import CanWriteClips, IdempotencyKey, Wired, represent
from service.api.routing import create_once, get_and_head
from service.core.tables import Clip
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/clips", tags=["clips"])


def _planned(wired: Wiring, clip: Clip) -> MultipartUpload:
    plan = wired.multipart.plan(clip)
    resource = clip_resource(clip)
    here = resource.links["self"]
    return MultipartUpload(
        clip=resource,
        part_bytes=plan.part_bytes,
        parts=tuple(FilmPart(**asdict(part)) for part in plan.parts),
        expires_in_s=plan.expires_in_s,
        links={"parts": f"{here}/parts", "complete": resource.links["complete"]},
    )


@router.post(
    "/multipart",
    operation_id="announce_film_parts",
    summary="Announce an upload in parts",
    status_code=201,
    response_model=MultipartUpload,
)
def announce_parts(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    body: DirectUploadRequest,
    key: IdempotencyKey,
) -> Response:
    """Announce a film that you send straight to the object store in parts, then complete it.

    A broken connection costs one part. Needs an S3 object store; otherwise 409, and the film goes
    to `POST /v1/clips` or `POST /v1/uploads`.
    """
    if wired.settings.object_store != "s3":
        raise NoDirectUpload(about=None)
    if body.size_bytes > wired.settings.max_clip_bytes:
        raise ClipTooLarge()

    def effect(session: Session) -> str:
        return wired.direct.announce(
            session,
            principal,
            sha256=body.sha256,
            size_bytes=body.size_bytes,
            media_type=body.media_type,
            external_ref=body.external_ref,
            session_id=body.session_id,
            analyse=None if body.analyse is None else body.analyse.model_dump(mode="json"),
        ).id

    return create_once(
        request,
        wired,
        principal,
        key,
        route="POST /v1/clips/multipart",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=lambda reply: _planned(wired, wired.clips.get(principal, reply.resource_id)),
        location=lambda upload: upload.clip.links["self"],
    )


@get_and_head(
    router,
    "/{clip_id}/parts",
    operation_id="read_film_parts",
    summary="Read which parts have arrived",
    response_model=MultipartUpload,
)
def read_parts(
    request: Request, wired: Wired, principal: CanWriteClips, clip_id: ClipPath
) -> Response:
    """Read which parts of an announced film have arrived, with fresh addresses for the others."""
    return represent(request, _planned(wired, wired.clips.get(principal, clip_id)))
