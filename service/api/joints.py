"""Joints from elsewhere: send a file of them and have it measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Query, Request, Response
from pydantic import ValidationError
from sqlalchemy.orm import Session

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.resources import (
    AnalysisOptions,
    AnalysisResource,
    ExternalRef,
    SessionId,
)
from service.api.dependencies import CanWriteClips, IdempotencyKey, Wired, represent
from service.api.file_bodies import joints_body
from service.api.uploads import Said, Terms, checked_reference, checked_session, receive
from service.api.work_resources import analysis_resource
from service.core.idempotency import Created, Reply
from service.core.identifiers import new_id
from service.core.intake import Intake, Received
from service.core.joint_files import JOINT_TYPES, JOINTS
from service.core.material import find_clip
from service.core.object_keys import clip_key
from service.core.principal import Principal
from service.core.tables import Clip, Work
from service.core.wiring import Wiring

router = APIRouter(prefix="/v1/joints", tags=["analyses"])
ROUTE = "POST /v1/joints"
LONGEST_OPTIONS = 16 * 1024
"""Bytes of the options in a form: a map of a hundred markers has room."""


@dataclass(frozen=True, slots=True)
class JointArrival:
    """A file of joints that arrived, and what was said about it."""

    file: Received
    options: AnalysisOptions
    external_ref: str | None
    session_id: str | None


def _options(text: str | None) -> AnalysisOptions:
    try:
        return AnalysisOptions() if text is None else AnalysisOptions.model_validate_json(text)
    except ValidationError:
        raise InvalidRequest(say(NoteCode.JOINT_OPTIONS_FORM), pointer="/options") from None


def _described(said: Said) -> Callable[[Received], JointArrival]:
    reference = checked_reference(said["external_ref"])
    filed = checked_session(said["session_id"])
    options = _options(said["options"])
    return lambda file: JointArrival(file, options, reference, filed)


OF_JOINTS = Terms(
    describe=_described,
    fields=frozenset({"sha256", "external_ref", "session_id", "options"}),
    bare=lambda kind: kind in JOINT_TYPES,
    otherwise=NoteCode.JOINT_MEDIA_TYPE,
    longest_field=LONGEST_OPTIONS,
)


@router.post(
    "",
    operation_id="send_joints",
    summary="Send joints from elsewhere and measure them",
    status_code=201,
    response_model=AnalysisResource,
    openapi_extra=joints_body(),
)
async def send_joints(
    request: Request,
    wired: Wired,
    principal: CanWriteClips,
    sha256: Annotated[
        str | None, Query(pattern="^[0-9a-fA-F]{64}$", description="As the form field.")
    ] = None,
    external_ref: Annotated[ExternalRef | None, Query()] = None,
    session_id: Annotated[SessionId | None, Query()] = None,
    options: Annotated[str | None, Query(description="As the form field.")] = None,
    key: IdempotencyKey = None,
) -> Response:
    """Send joints of another pose system or of a motion-capture laboratory, and start their
    analysis: a JSON document (joints.v2.json or joints.v1.json), npz or C3D.

    The file is kept as a clip, and erased as one; what comes is an analysis like that of a film,
    without pictures and annotated film. Metres with z up, or landmarks in pixels. A file that
    cannot be used ends the analysis with a problem that says why. The same file again is the same
    clip and another analysis; `POST /v1/analyses` starts one of it with other options.
    """
    clip_id = new_id("clip")
    place = clip_key(principal.tenant_id, clip_id)
    intake = Intake(wired.objects, place, wired.settings.max_joints_bytes, JOINTS)
    described = {"external_ref": external_ref, "session_id": session_id, "options": options}
    arrival = await receive(request, intake, {"sha256": sha256, **described}, OF_JOINTS)

    def register() -> Response:
        work_id, status, replayed = _start(wired, principal, key, clip_id, arrival)
        shown = analysis_resource(wired.work.get(principal, work_id), ())
        headers = {"location": shown.links["self"]}
        if replayed:
            headers["idempotency-replayed"] = "true"
        return represent(request, shown, status, headers)

    return await to_thread.run_sync(register)


def _start(
    wired: Wiring, principal: Principal, key: str | None, clip_id: str, arrival: JointArrival
) -> tuple[str, int, bool]:
    """Enter file and analysis in one transaction, once a key.

    Returns
    -------
    tuple
        Id of the analysis, HTTP status, and whether an earlier request was answered so.
    """
    started: list[Work] = []
    replies: list[Reply] = []

    def then(session: Session, clip: Clip) -> None:
        started[:] = [
            wired.requests.analysis_of_clip(
                session, principal, clip, arrival.options, arrival.external_ref
            )
        ]

    said: list[Any] = [
        arrival.file.sha256,
        arrival.options.model_dump(mode="json"),
        arrival.external_ref,
        arrival.session_id,
    ]

    def once(enter: Callable[[Session], Created]) -> Reply:
        # The key is bound to the analysis; whoever registers clips wants the clip.
        def effect(session: Session) -> Created:
            enter(session)
            return Created(started[0].id)

        reply = wired.idempotency.once(principal, ROUTE, key, said, effect)
        replies[:] = [reply]
        clip = wired.work.get(principal, reply.resource_id).clip_id
        assert clip is not None
        return Reply(clip, replayed=reply.replayed, status=reply.status)

    stored = wired.clips.register(
        principal,
        clip_id,
        arrival.file,
        arrival.external_ref,
        arrival.session_id,
        once,
        then,
    )
    if not replies:  # the same file came in by another request at the same moment

        def beside(session: Session) -> Created:
            then(session, find_clip(session, principal, stored.clip.id))
            return Created(started[0].id)

        replies.append(wired.idempotency.once(principal, ROUTE, key, said, beside))
    (reply,) = replies
    if not reply.replayed:
        wired.arrivals.send(started)
    return reply.resource_id, reply.status, reply.replayed
