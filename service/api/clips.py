"""Clips: send, list, read, erase."""

from __future__ import annotations

import functools
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session
from starlette.convertors import StringConvertor, register_url_convertor

from models.contract.clip import ClipFacts
from models.contract.erasures import ErasureResource
from models.contract.errors import (
    ClipTooLarge,
    NoDirectUpload,
    NoLongerKept,
    UploadNotComplete,
)
from models.contract.resources import (
    ClipChange,
    ClipId,
    ClipPage,
    ClipResource,
    DirectUpload,
    DirectUploadRequest,
    ExternalRef,
    MetadataState,
    SessionId,
)
from service.api.dependencies import (
    CanEraseClips,
    CanReadClips,
    CanWriteClips,
    IdempotencyKey,
    IfMatch,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
    require_match,
)
from service.api.erasures import erased
from service.api.file_bodies import ANY_JSON, film_body
from service.api.list_filters import ClipsWanted
from service.api.representations import send_object
from service.api.routing import create_once, get_and_head
from service.api.uploads import OF_A_FILM, receive
from service.core.idempotency import Reply
from service.core.identifiers import new_id
from service.core.intake import Intake
from service.core.joint_files import JOINT_TYPES, JSON
from service.core.keyset import page
from service.core.object_keys import clip_key
from service.core.tables import Clip, Work


class _NamedClip(StringConvertor):
    """A part of a path that may name a clip: what is an address of its own does not."""

    regex = r"(?!(direct|multipart)$)[^/]+"


register_url_convertor("named_clip", _NamedClip())
router = APIRouter(prefix="/v1/clips", tags=["clips"])
ITEM = "/{clip_id:named_clip}"
ClipPath = Annotated[ClipId, Path(examples=["clip_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def clip_resource(row: Clip, analysis_id: str | None = None) -> ClipResource:
    """Return a clip row as a resource, with the analysis that was started with it."""
    here = f"/v1/clips/{row.id}"
    links = {"self": here}
    if row.state == "ready":
        links |= {"analyses": f"/v1/analyses?clip_id={row.id}", "keeping": f"/v1/keeping/{row.id}"}
        if row.film_removed_at is None:
            links["content"] = f"{here}/content"
    else:
        links["complete"] = f"{here}/complete"
    if analysis_id is not None:
        links["analysis"] = f"/v1/analyses/{analysis_id}"
    return ClipResource(
        id=row.id,
        state="ready" if row.state == "ready" else "uploading",
        created_at=row.created_at,
        media_type=row.media_type,
        size_bytes=row.size_bytes,
        sha256=row.sha256 or row.announced_sha256,
        metadata=None if row.metadata_state is None else MetadataState(row.metadata_state),
        external_ref=row.external_ref,
        session_id=row.session_id,
        facts=ClipFacts.model_validate(row.facts) if row.facts else None,
        links=links,
    )


@router.post(
    "",
    operation_id="send_clip",
    summary="Send a film",
    status_code=201,
    response_model=ClipResource,
    responses={200: {"model": ClipResource, "description": "You sent this very film before."}},
    openapi_extra=film_body(),
)
async def send_clip(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    sha256: Annotated[
        str | None, Query(pattern="^[0-9a-fA-F]{64}$", description="As the form field.")
    ] = None,
    external_ref: Annotated[ExternalRef | None, Query()] = None,
    session_id: Annotated[SessionId | None, Query()] = None,
    analyse: Annotated[str | None, Query(description="As the form field.")] = None,
    key: IdempotencyKey = None,
) -> Response:
    """Send a film as a form (field `file`) or as the body itself.

    The film is checked against `sha256`, or against `Content-Digest` / `Repr-Digest` (RFC 9530),
    when given. Sending the same bytes again with the same key returns the clip that is there;
    a film that was in no session yet is then filed under the one given.
    """
    clip_id = new_id("clip")
    place = clip_key(principal.tenant_id, clip_id)
    intake = Intake(wired.objects, place, wired.settings.max_clip_bytes)
    described = {"external_ref": external_ref, "session_id": session_id, "analyse": analyse}
    arrival = await receive(request, intake, {"sha256": sha256, **described}, OF_A_FILM)

    def register() -> Response:
        said: list[Any] = [arrival.film.sha256, arrival.external_ref, arrival.session_id]
        if arrival.analyse is not None:
            said.append(arrival.analyse)
        started: list[Work] = []
        once = functools.partial(wired.idempotency.once, principal, "POST /v1/clips", key, said)
        stored = wired.clips.register(
            principal,
            clip_id,
            arrival.film,
            arrival.external_ref,
            arrival.session_id,
            None if key is None else once,
            wired.arrivals.analysing(principal, arrival.analyse, started),
        )
        wired.arrivals.send(started)
        wanted = arrival.analyse is not None
        analysis = wired.arrivals.analysis_of(stored.clip.id) if wanted else None
        resource = clip_resource(stored.clip, analysis)
        headers = {"location": resource.links["self"]}
        if stored.replayed:
            headers["idempotency-replayed"] = "true"
        return represent(request, resource, stored.status, headers)

    return await to_thread.run_sync(register)


@get_and_head(
    router,
    "",
    operation_id="list_clips",
    summary="List clips, newest first",
    response_model=ClipPage,
)
def list_clips(
    request: Request,
    response: Response,
    wired: Wired,
    principal: CanReadClips,
    paging: Paging,
    wanted: ClipsWanted,
) -> ClipPage:
    """List clips, newest first."""
    found = page(
        wired.database,
        Clip,
        principal,
        after=paging.after("clips", wanted.in_query),
        limit=paging.limit,
        narrowed=wanted.conditions,
    )
    cursor = paging.finish(response, request.url.path, "clips", wanted.in_query, found.next)
    return ClipPage(items=tuple(clip_resource(row) for row in found.rows), next_cursor=cursor)


@router.post(
    "/direct",
    operation_id="announce_clip",
    summary="Announce a direct upload",
    status_code=201,
    response_model=DirectUpload,
)
def announce_clip(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    body: DirectUploadRequest,
    key: IdempotencyKey,
) -> Response:
    """Announce a film that you send straight to the object store, then complete it.

    Needs an S3 object store; otherwise 409, and the film goes to `POST /v1/clips`.
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

    def show(reply: Reply) -> DirectUpload:
        clip = wired.clips.get(principal, reply.resource_id)
        plan = wired.direct.plan(clip)
        resource = clip_resource(clip)
        return DirectUpload(
            clip=resource,
            url=plan.url,
            fields=plan.fields,
            expires_in_s=plan.expires_in_s,
            links={"complete": resource.links["complete"]},
        )

    return create_once(
        request,
        wired,
        principal,
        key,
        route="POST /v1/clips/direct",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=show,
        location=lambda upload: upload.clip.links["self"],
    )


@router.post(
    "/{clip_id}/complete",
    operation_id="complete_clip",
    summary="Complete a direct upload",
    response_model=ClipResource,
)
def complete_clip(
    request: Request, wired: Wired, principal: CanWriteClips, clip_id: ClipPath
) -> Response:
    """Check size and digest of a film that was sent directly, and make the clip ready."""
    started: list[Work] = []
    wanted = wired.clips.get(principal, clip_id).analyse
    then = wired.arrivals.analysing(principal, wanted, started)
    clip = wired.direct.complete(principal, clip_id, then).clip
    wired.arrivals.send(started)
    analysis = None if wanted is None else wired.arrivals.analysis_of(clip.id)
    resource = clip_resource(clip, analysis)
    return represent(request, resource, headers={"location": resource.links["self"]})


@get_and_head(
    router,
    ITEM,
    operation_id="read_clip",
    summary="Read a clip",
    response_model=ClipResource,
)
def read_clip(
    request: Request, wired: Wired, principal: CanReadClips, clip_id: ClipPath
) -> Response:
    """Read what is known of a clip."""
    return represent(request, clip_resource(wired.clips.get(principal, clip_id)))


@router.patch(
    ITEM,
    operation_id="change_clip",
    summary="File a clip elsewhere",
    response_model=ClipResource,
)
def change_clip(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    clip_id: ClipPath,
    body: ClipChange,
    if_match: IfMatch = None,
) -> Response:
    """File a clip under another session, of the same player or of another, or under none.

    Its analyses go with it and stay as they are: they keep the height, hand and drill they were
    made with (start a new one where the player is another). Documents made before stay as they are
    too; new ones find the film where it is filed then. Erasing the former session or player no
    longer erases it.
    """
    row = wired.filing.change(
        principal,
        clip_id,
        body.model_dump(exclude_unset=True),
        lambda present: require_match(request, clip_resource(present)),
    )
    return represent(request, clip_resource(row))


@get_and_head(
    router,
    "/{clip_id}/content",
    operation_id="read_clip_content",
    summary="Fetch the film",
    response_class=Response,
    responses={
        200: {
            "content": {
                **{kind: {} for kind in ("video/mp4", *JOINT_TYPES)},
                JSON: {"schema": ANY_JSON},
            },
            "description": "The film, or the file of joints.",
        }
    },
)
def read_clip_content(
    request: Request, wired: Wired, principal: CanReadClips, clip_id: ClipPath
) -> Response:
    """Fetch the film or the file of joints, whole or by byte range."""
    clip = wired.clips.get(principal, clip_id)
    if clip.film_removed_at is not None:
        raise NoLongerKept()
    if clip.state != "ready" or clip.sha256 is None or clip.size_bytes is None:
        raise UploadNotComplete(about=clip.id)
    return send_object(
        request,
        wired.objects,
        key=clip.object_key,
        sha256=clip.sha256,
        size_bytes=clip.size_bytes,
        media_type=clip.media_type,
        headers={"content-disposition": "attachment"},
    )


@router.delete(
    ITEM,
    operation_id="erase_clip",
    summary="Erase a clip and everything derived from it",
    status_code=202,
    response_model=ErasureResource,
)
def erase_clip(
    request: Request,
    wired: Wired,
    principal: CanEraseClips,
    clip_id: ClipPath,
    _if_match: MayMatch = None,
) -> Response:
    """Erase the film, its analyses, results, pictures and events. Running work is stopped.

    From the answer on nothing of it can be read; the erasure tells when its files are gone.
    """
    gone = wired.eraser.clip(
        principal, clip_id, lambda row: heed_match(request, clip_resource(row))
    )
    return erased(request, wired, gone)
