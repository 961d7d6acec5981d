"""Practice rules: the shipped file, and coaches' own."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.errors import InvalidRequest, UnsupportedMediaType
from models.contract.note_codes import NoteCode, say
from models.contract.resources import RulesId
from models.contract.rule_files import RulesPage, RulesResource
from models.practice.rules import rules_of, shipped_text
from service.api.conditional import tag_of
from service.api.dependencies import (
    CanManageRules,
    CanReadResults,
    IdempotencyKey,
    MayMatch,
    Paging,
    Wired,
    heed_match,
    represent,
)
from service.api.file_bodies import YAML, file_schema
from service.api.listing import listed
from service.api.preconditions import not_modified
from service.api.routing import create_once, get_and_head
from service.core.tables import RuleFile

router = APIRouter(prefix="/v1/practice-rules", tags=["coaching"])

RulesPath = Annotated[RulesId, Path(examples=["rul_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])]
ACCEPTED = frozenset({YAML, "application/x-yaml", "text/yaml", "application/json"})
_YAML_REPLY: dict[int | str, dict[str, Any]] = {
    200: {"content": {YAML: {}}, "description": "The file."}
}
_TEXT = {
    "schema": file_schema(YAML)
    | {"type": "string", "description": "A rule file; see the JSON Schema."}
}
_JSON = {"schema": {"type": "object", "description": "The same as JSON."}}
_BODY = {"requestBody": {"required": True, "content": {YAML: _TEXT, "application/json": _JSON}}}


def rules_resource(row: RuleFile) -> RulesResource:
    """Return a rule file as a resource."""
    here = f"/v1/practice-rules/{row.id}"
    return RulesResource(
        id=row.id,
        name=row.name,
        findings=row.findings,
        drills=row.drills,
        created_at=row.created_at,
        links={
            "self": here,
            "file": f"{here}/file",
            "describedby": "/schemas/practice-rules.v1.json",
        },
    )


async def rule_body(request: Request) -> str:
    """Return the body as text; the middleware bounds its size."""
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind not in ACCEPTED:
        raise UnsupportedMediaType(say(NoteCode.RULES_MEDIA_TYPE, media_type=YAML))
    try:
        return (await request.body()).decode()
    except UnicodeDecodeError:
        raise InvalidRequest(say(NoteCode.RULE_FILE_NOT_UTF8)) from None


@router.post(
    "",
    operation_id="send_practice_rules",
    summary="Send your own rules",
    status_code=201,
    response_model=RulesResource,
    openapi_extra=_BODY,
)
async def send_rules(
    request: Request, wired: Wired, principal: CanManageRules, key: IdempotencyKey
) -> Response:
    """Send a rule file (YAML). It needs to hold only what differs from the shipped rules.

    An entry with a shipped id replaces it, a new id is added, ids under `remove` are left out. The
    outcome must fit the JSON Schema; each place that does not is named.
    """
    text = await rule_body(request)

    def enter() -> Response:
        rules = rules_of(text)  # before the transaction, in which nobody else could write

        def effect(session: Session) -> str:
            return wired.rule_files.create(session, principal, text, rules).id

        return create_once(
            request,
            wired,
            principal,
            key,
            route="POST /v1/practice-rules",
            body=hashlib.sha256(text.encode()).hexdigest(),
            effect=effect,
            show=lambda reply: rules_resource(wired.rule_files.get(principal, reply.resource_id)),
        )

    return await to_thread.run_sync(enter)


@get_and_head(
    router,
    "",
    operation_id="list_practice_rules",
    summary="List rule files, newest first",
    response_model=RulesPage,
)
def list_rules(
    request: Request, response: Response, wired: Wired, principal: CanReadResults, paging: Paging
) -> RulesPage:
    """List rule files, newest first. The shipped rules are not among them."""
    rows, cursor = listed(request, response, wired, principal, paging, RuleFile, "practice-rules")
    return RulesPage(items=tuple(map(rules_resource, rows)), next_cursor=cursor)


@get_and_head(
    router,
    "/shipped/file",
    operation_id="read_shipped_practice_rules",
    summary="Fetch the shipped rules",
    response_class=Response,
    responses=_YAML_REPLY,
)
def read_shipped(request: Request, _principal: CanReadResults) -> Response:
    """Fetch the shipped rule file, as a start for your own."""
    return _file(request, shipped_text())


@get_and_head(
    router,
    "/{rules_id}",
    operation_id="read_practice_rules",
    summary="Read what a rule file holds",
    response_model=RulesResource,
)
def read_rules(
    request: Request, wired: Wired, principal: CanReadResults, rules_id: RulesPath
) -> Response:
    """Read name and size of a rule file."""
    return represent(request, rules_resource(wired.rule_files.get(principal, rules_id)))


@get_and_head(
    router,
    "/{rules_id}/file",
    operation_id="read_practice_rule_file",
    summary="Fetch a rule file",
    response_class=Response,
    responses=_YAML_REPLY,
)
def read_file(
    request: Request, wired: Wired, principal: CanReadResults, rules_id: RulesPath
) -> Response:
    """Fetch a rule file as it was sent."""
    return _file(request, wired.rule_files.get(principal, rules_id).text)


@router.delete(
    "/{rules_id}",
    operation_id="delete_practice_rules",
    summary="Remove a rule file",
    status_code=204,
)
def delete_rules(
    request: Request,
    wired: Wired,
    principal: CanManageRules,
    rules_id: RulesPath,
    _if_match: MayMatch = None,
) -> Response:
    """Remove a rule file. Plans that were made by it stay as they are."""
    heed_match(request, rules_resource(wired.rule_files.get(principal, rules_id)))
    wired.rule_files.delete(principal, rules_id)
    return Response(status_code=204)


def _file(request: Request, text: str) -> Response:
    body = text.encode()
    headers = {"etag": tag_of(body), "cache-control": "private, no-cache"}
    if not_modified(request, headers["etag"]):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=YAML, headers=headers)
