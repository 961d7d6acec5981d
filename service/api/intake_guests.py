"""What an intake link opens: its page, the consent, and uploads by the tus protocol."""

from __future__ import annotations

from functools import cache
from pathlib import Path as FilePath
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.consents import ConsentRequest, ConsentResource
from models.contract.errors import LinkEnded
from models.contract.intake import Invitation
from models.contract.uploads import UploadId, UploadResource
from models.words import catalogue, negotiate
from service.api.conditional import matches_weakly, tag_of
from service.api.consents import consent_resource
from service.api.dependencies import IdempotencyKey, Wired, represent
from service.api.intake_links import consent_text
from service.api.link_admission import Sender
from service.api.link_pages import SENDING, apology, link_page, script_data
from service.api.resumable import MOVED, PART, begin, upload_resource
from service.api.routing import create_once, get_and_head
from service.api.tus import (
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
    standing,
)
from service.core.guests import Guest
from service.core.idempotency import Reply
from service.core.intake import checked_sha256
from service.core.resumable import ExpectedFilm
from service.core.tables import IntakeLink
from service.core.wiring import Wiring

router = APIRouter(tags=["links"])
page_router = APIRouter(include_in_schema=False)
SCRIPT = FilePath(__file__).parent / "static" / "intake.js"
UploadPath = Annotated[UploadId, Path(examples=["upl_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]


def _link(guest: Guest) -> IntakeLink:
    assert isinstance(guest.link, IntakeLink)
    return guest.link


@page_router.get("/i/{token}")
def intake_page(request: Request, wired: Wired, guest: Sender) -> Response:
    """Return the page of an intake link."""
    language = request.headers.get("accept-language")
    link = _link(guest)
    try:
        guest.require_open()
    except LinkEnded as error:
        return apology(error, language)
    words = catalogue(negotiate(language))
    told = invitation(wired, guest)
    return link_page(
        "intake.html",
        words,
        SENDING,
        label=link.label,
        told=told,
        expires=words.date(link.expires_at),
        data=script_data(
            {
                "version": link.consent_version,
                "link": link.id,
                "largest": wired.settings.max_clip_bytes,
                "words": words.find("intake.script"),
            }
        ),
    )


@cache
def _script() -> bytes:
    return SCRIPT.read_bytes()


@page_router.get("/assets/intake.js")
def intake_script(request: Request) -> Response:
    """Return the script of the page."""
    body = _script()
    headers = {"etag": tag_of(body), "cache-control": "public, no-cache"}
    known = request.headers.get("if-none-match")
    if known and matches_weakly(known, headers["etag"]):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type="text/javascript", headers=headers)


def invitation(wired: Wiring, guest: Guest) -> Invitation:
    """Return what a link asks for."""
    link = _link(guest)
    had = wired.intake_links.tallies([link.id])[link.id]
    return Invitation(
        label=link.label,
        consent=consent_text(link),
        guardian_only=wired.intake_links.guardian_only(link),
        films_left=max(0, link.max_films - had.films),
        bytes_left=None if link.max_bytes is None else max(0, link.max_bytes - had.bytes),
        expires_at=link.expires_at,
    )


@get_and_head(
    router,
    "/i/{token}/invitation",
    operation_id="read_invitation",
    summary="Read what an intake link asks for",
    response_model=Invitation,
)
def read_invitation(request: Request, wired: Wired, guest: Sender) -> Response:
    """Read who asks, the text to agree to, and how much may still come. Needs no key: the address
    is the secret.
    """
    guest.require_open()
    told = invitation(wired, guest)
    here = request.url.path.removesuffix("/invitation")
    links = {"page": here, "consents": f"{here}/consents", "uploads": f"{here}/uploads"}
    return represent(request, told.model_copy(update={"links": links}))


@router.post(
    "/i/{token}/consents",
    operation_id="give_consent",
    summary="Agree to the text of an intake link",
    status_code=201,
    response_model=ConsentResource,
)
def give_consent(
    request: Request, wired: Wired, guest: Sender, body: ConsentRequest, key: IdempotencyKey
) -> Response:
    """Agree, for a visit: films can then be sent for 24 hours, each upload naming this consent."""
    guest.require_open()
    link = _link(guest)

    def effect(session: Session) -> str:
        return wired.intake_links.consent(session, link, body).id

    def show(reply: Reply) -> ConsentResource:
        row = wired.intake_links.get_consent(link.id, reply.resource_id)
        shown = consent_resource(row, ())  # the ids of others' rows are none of a guest's business
        return shown.model_copy(update={"player_id": None, "links": {}})

    return create_once(
        request,
        wired,
        guest.principal,
        key,
        route="POST /i/consents",
        body=body.model_dump(mode="json"),
        effect=effect,
        show=show,
        location=lambda _made: None,
    )


@router.options("/i/{token}/uploads", include_in_schema=False)
def guest_abilities(wired: Wired, guest: Sender) -> Response:
    """Say what is known of the protocol."""
    return abilities(wired)


@router.post(
    "/i/{token}/uploads",
    operation_id="create_guest_upload",
    summary="Begin an upload in parts through a link",
    status_code=201,
    response_model=UploadResource,
    dependencies=[Speaks],
    openapi_extra={"requestBody": {"required": False, **PART}},
)
async def create_guest_upload(
    request: Request,
    wired: Wired,
    guest: Sender,
    key: IdempotencyKey,
    length: UploadLength = None,
    metadata: UploadMetadata = None,
    checksum: UploadChecksum = None,
) -> Response:
    """Begin to send a film, as at `POST /v1/uploads`. Upload-Metadata names the `consent` it comes
    under; of the other keys `sha256` counts.
    """
    guest.require_open()
    link = _link(guest)
    said = metadata_of(metadata)
    film = ExpectedFilm(
        length=length_of(length),
        sha256=checked_sha256(said["sha256"]) if "sha256" in said else None,
        external_ref=link.external_ref,
        session_id=link.session_id,
        analyse=link.analyse,
        link_id=link.id,
        consent_id=said.get("consent"),
    )

    def check(session: Session) -> None:
        wired.intake_links.require_consent(session, link.id, film.consent_id)
        wired.intake_links.require_room(session, link.id, film.length)

    return await begin(
        request,
        wired,
        guest.principal,
        key,
        film,
        route="POST /i/uploads",
        checksum=checksum,
        check=check,
    )


@router.head("/i/{token}/uploads/{upload_id}", include_in_schema=False, dependencies=[Speaks])
def guest_offset(wired: Wired, guest: Sender, upload_id: UploadPath) -> Response:
    """Say where an upload stands."""
    return offset_answer(wired.uploads.open(guest.principal, upload_id, guest.link.id))


@router.get(
    "/i/{token}/uploads/{upload_id}",
    operation_id="read_guest_upload",
    summary="Read an upload that came through a link",
    response_model=UploadResource,
)
def read_guest_upload(
    request: Request, wired: Wired, guest: Sender, upload_id: UploadPath
) -> Response:
    """Read where an upload stands, and whether its film was taken."""
    row = wired.uploads.get(guest.principal, upload_id, guest.link.id)
    resource = upload_resource(wired, row, request.url.path)
    links: dict[str, Any] = {"self": request.url.path}
    return represent(request, resource.model_copy(update={"links": links}))


@router.patch(
    "/i/{token}/uploads/{upload_id}",
    operation_id="send_guest_part",
    summary="Send a part of an upload through a link",
    status_code=204,
    response_class=Response,
    dependencies=[Speaks],
    openapi_extra={"requestBody": {"required": True, **PART}},
    responses=MOVED,
)
async def send_guest_part(
    request: Request,
    wired: Wired,
    guest: Sender,
    upload_id: UploadPath,
    offset: UploadOffset = None,
    checksum: UploadChecksum = None,
) -> Response:
    """Send bytes from the offset on, as at `PATCH /v1/uploads/{upload_id}`. An upload that began
    before its link expired may go on.
    """
    row = await to_thread.run_sync(wired.uploads.open, guest.principal, upload_id, guest.link.id)
    row = await receive_part(request, wired, guest.principal, row, offset, checksum)
    return Response(status_code=204, headers=standing(row))


@router.delete(
    "/i/{token}/uploads/{upload_id}",
    operation_id="end_guest_upload",
    summary="Give an upload up that came through a link",
    status_code=204,
    dependencies=[Speaks],
)
def end_guest_upload(wired: Wired, guest: Sender, upload_id: UploadPath) -> Response:
    """Remove what has arrived. A film that was taken stays: ask whoever sent the link."""
    wired.uploads.end(guest.principal, upload_id, guest.link.id)
    return Response(status_code=204)
