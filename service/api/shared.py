"""What a share link opens: its page, and the files it names."""

from __future__ import annotations

from anyio import to_thread
from fastapi import APIRouter, Request, Response
from sqlalchemy import select

from models.contract.analysis import CAUTIONS, MINOR_CAUTIONS
from models.contract.errors import NoLongerKept, NotFound
from models.contract.note_codes import NoteCode, say
from models.words import catalogue, negotiate
from service.api.dependencies import Wired
from service.api.link_admission import Reader
from service.api.link_pages import READING, link_page
from service.api.representations import send_object
from service.api.results import send_result
from service.api.routing import get_and_head
from service.core.guests import Guest
from service.core.hidden_faces import WITHOUT_PICTURES
from service.core.share_links import CLIP
from service.core.tables import Clip, ShareLink, Work
from service.core.wiring import Wiring

router = APIRouter(include_in_schema=False)
UNSEEN = {"x-robots-tag": "noindex, nofollow", "cache-control": "private, no-store"}


def _shared(wired: Wiring, guest: Guest) -> tuple[ShareLink, Work]:
    link = guest.link
    assert isinstance(link, ShareLink)
    return link, wired.work.get(guest.principal, link.work_id)


@get_and_head(router, "/s/{token}")
def shared_page(request: Request, wired: Wired, guest: Reader) -> Response:
    """Return the page of a share link."""
    link, work = _shared(wired, guest)
    if request.method == "GET":
        wired.share_links.viewed(link.id)
    minor = wired.share_links.may_show_minor(work)
    cautions = CAUTIONS + (MINOR_CAUTIONS if minor else ())
    files = [name for name in link.files if wired.share_links.as_shared(work, name) is not None]
    words = catalogue(negotiate(request.headers.get("accept-language")))
    return link_page(
        "shared.html",
        words,
        READING,
        kind=work.kind,
        made=words.date(work.finished_at or work.created_at),
        expires=words.date(link.expires_at),
        cautions=[words.note(one) for one in cautions],
        files=files,
        left_out=len(files) < len(link.files),
        faces_hidden=minor and bool(files) and work.kind not in WITHOUT_PICTURES,
        here=request.url.path,
    )


@get_and_head(router, "/s/{token}/{name}")
async def shared_file(request: Request, wired: Wired, guest: Reader, name: str) -> Response:
    """Return a file of a share link, whole or by byte range."""
    response = await to_thread.run_sync(_file, request, wired, guest, name)
    response.headers.update(UNSEEN)
    return response


def _file(request: Request, wired: Wiring, guest: Guest, name: str) -> Response:
    link, work = _shared(wired, guest)
    if name not in link.files:
        raise NotFound()
    shared = wired.share_links.as_shared(work, name)
    if shared is None:
        raise NotFound(say(NoteCode.FACES_NOT_HIDDEN))
    if name != CLIP:
        return send_result(request, wired, work, shared, {})
    with wired.database.read() as session:
        clip = session.scalars(select(Clip).where(Clip.id == work.clip_id)).one_or_none()
    if clip is not None and clip.film_removed_at is not None:
        raise NoLongerKept()
    if clip is None or clip.sha256 is None or clip.size_bytes is None:
        raise NotFound()
    return send_object(
        request,
        wired.objects,
        key=clip.object_key,
        sha256=clip.sha256,
        size_bytes=clip.size_bytes,
        media_type=clip.media_type,
    )
