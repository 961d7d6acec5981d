"""Receives a file from a request body: a form, or the file itself."""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from anyio import CancelScope, to_thread
from fastapi import Request
from pydantic import TypeAdapter, ValidationError

from models.contract.errors import DigestMismatch, InvalidRequest, UnsupportedMediaType
from models.contract.note_codes import NoteCode, say
from models.contract.resources import MAX_REFERENCE, PRINTABLE_PATTERN, AnalysisOptions, FilmOptions
from service.api.multipart import MAX_FIELD_BYTES, FileBegins, FormReader
from service.core.identifiers import is_id
from service.core.intake import Intake, Received, checked_sha256

FILE_FIELD = "file"
FIELDS = frozenset({"sha256", "external_ref", "session_id", "analyse"})
Said = Mapping[str, str | None]
Described = TypeVar("Described")
_SHA256_ITEM = re.compile(r"(?:^|,)\s*sha-256\s*=\s*:([A-Za-z0-9+/=]*):")
_PRINTABLE = re.compile(PRINTABLE_PATTERN)
_FILM_OPTIONS: TypeAdapter[AnalysisOptions] = TypeAdapter(FilmOptions)


@dataclass(frozen=True, slots=True)
class Terms(Generic[Described]):
    """What an address takes beside the file.

    Attributes
    ----------
    describe : callable
        Checks what is said of the file; returns what makes the answer once the file is here.
    fields : frozenset of str
        Fields of the form beside the file.
    bare : callable
        Tells whether a file may come as a body of this media type.
    otherwise : NoteCode
        What is said to those who send another.
    """

    describe: Callable[[Said], Callable[[Received], Described]]
    fields: frozenset[str]
    bare: Callable[[str], bool]
    otherwise: NoteCode
    longest_field: int = MAX_FIELD_BYTES


@dataclass(frozen=True, slots=True)
class Arrival:
    """A film that arrived, and what was said about it."""

    film: Received
    external_ref: str | None
    session_id: str | None = None
    analyse: dict[str, Any] | None = None


def stated_digest(request: Request, name: str) -> str | None:
    """Return the SHA-256 in a Content-Digest or Repr-Digest field (RFC 9530); None if absent."""
    value = request.headers.get(name)
    if value is None:
        return None
    match = _SHA256_ITEM.search(value)
    if match is None:
        return None  # another algorithm: the field may be ignored
    try:
        digest = base64.b64decode(match.group(1), validate=True)
    except binascii.Error:
        digest = b""
    if len(digest) != 32:
        raise InvalidRequest(say(NoteCode.NOT_A_SHA256, name=name), pointer=name)
    return digest.hex()


def checked_reference(text: str | None) -> str | None:
    """Return an external reference, or raise ``InvalidRequest``."""
    if text is None:
        return None
    if not 1 <= len(text) <= MAX_REFERENCE or not _PRINTABLE.match(text):
        raise InvalidRequest(
            say(NoteCode.EXTERNAL_REF_FORM, longest=MAX_REFERENCE),
            pointer="/external_ref",
        )
    return text


def checked_session(text: str | None) -> str | None:
    """Return a session id, or raise ``InvalidRequest``."""
    if text is not None and not is_id(text, "ses"):
        raise InvalidRequest(say(NoteCode.SESSION_ID_EXPECTED), pointer="/session_id")
    return text


def analysis_wanted(text: str | None) -> dict[str, Any] | None:
    """Return the options of the analysis that a film is to start; None where none is wanted."""
    if text is None or text == "false":
        return None
    try:
        options = AnalysisOptions() if text == "true" else _FILM_OPTIONS.validate_json(text)
    except ValidationError:
        raise InvalidRequest(say(NoteCode.ANALYSE_FORM), pointer="/analyse") from None
    return options.model_dump(mode="json")


async def receive(
    request: Request, intake: Intake, said: Said, terms: Terms[Described]
) -> Described:
    """Stream the body into the intake and check its digests.

    ``said`` is what the query says of the file; fields of a form come before it.

    Nothing of the file is kept when this raises, also when the caller goes away.
    """
    content_type = request.headers.get("content-type", "")
    kind = content_type.split(";")[0].strip().lower()
    try:
        if kind == "multipart/form-data":
            return await _from_form(request, intake, said, content_type, terms)
        if terms.bare(kind):
            return await _from_body(request, intake, said, terms)
        raise UnsupportedMediaType(say(terms.otherwise))
    finally:
        with CancelScope(shield=True):
            await to_thread.run_sync(intake.abort)


async def _from_body(
    request: Request, intake: Intake, said: Said, terms: Terms[Described]
) -> Described:
    stated = (stated_digest(request, name) for name in ("content-digest", "repr-digest"))
    expected = {digest for digest in stated if digest is not None}
    if given := said["sha256"]:
        expected.add(checked_sha256(given))
    arrival = terms.describe(said)
    async for chunk in request.stream():
        if intake.add(chunk):
            await to_thread.run_sync(intake.flush)
    return arrival(await to_thread.run_sync(intake.finish, frozenset(expected)))


def _film_described(said: Said) -> Callable[[Received], Arrival]:
    reference = checked_reference(said["external_ref"])
    filed = checked_session(said["session_id"])
    analyse = analysis_wanted(said["analyse"])
    return lambda film: Arrival(film, reference, filed, analyse)


OF_A_FILM = Terms(
    describe=_film_described,
    fields=FIELDS,
    bare=lambda kind: kind.startswith("video/") or kind == "application/octet-stream",
    otherwise=NoteCode.FILM_MEDIA_TYPE,
)


async def _from_form(
    request: Request,
    intake: Intake,
    said: Said,
    content_type: str,
    terms: Terms[Described],
) -> Described:
    reader = FormReader(content_type, FILE_FIELD, terms.fields, terms.longest_field)
    of_body = stated_digest(request, "content-digest")
    body_hash = hashlib.sha256() if of_body is not None else None
    async for chunk in request.stream():
        if body_hash is not None:
            body_hash.update(chunk)
        due = False
        for piece in reader.feed(chunk):
            if not isinstance(piece, FileBegins):
                due = intake.add(piece) or due
        if due:
            await to_thread.run_sync(intake.flush)
    reader.finish()
    if body_hash is not None and body_hash.hexdigest() != of_body:
        raise DigestMismatch()
    expected = set()
    for given in (reader.fields.get("sha256"), said["sha256"]):
        if given:
            expected.add(checked_sha256(given))
    arrival = terms.describe({**said, **reader.fields})
    return arrival(await to_thread.run_sync(intake.finish, frozenset(expected)))
