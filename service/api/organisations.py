"""Organisations: made and changed by those who run the installation; each sees its own."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session

from models.contract.accounts import (
    Month,
    MonthUsed,
    OrganisationChange,
    OrganisationCreated,
    OrganisationId,
    OrganisationLimits,
    OrganisationPage,
    OrganisationRequest,
    OrganisationResource,
    OrganisationUsage,
)
from models.contract.errors import KeyNotShownAgain
from models.contract.keeping import KeepingRule
from service.api.dependencies import (
    CanAdminister,
    IdempotencyKey,
    IfMatch,
    Paging,
    Wired,
    represent,
    require_match,
)
from service.api.keys import Minting
from service.api.routing import create_once, get_and_head
from service.core.idempotency import Reply
from service.core.key_text import key_text, new_key_id
from service.core.organisations import require_operator
from service.core.reach import EVERYTHING
from service.core.tables import Organisation

router = APIRouter(prefix="/v1/organisations", tags=["organisations"])
OrganisationPath = Annotated[
    OrganisationId, Path(examples=["org_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"])
]
MonthQuery = Annotated[Month | None, Query(description="A month (UTC), included: `2026-11`.")]


def _fields(wired: Wired, row: Organisation) -> dict[str, Any]:
    here = f"/v1/organisations/{row.id}"
    in_force = wired.quotas.defaults.of(row)
    return {
        "id": row.id,
        "name": row.name,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        "limits": OrganisationLimits.model_validate(row.limits),
        "limits_in_force": OrganisationLimits.model_validate(in_force, from_attributes=True),
        "keeping": KeepingRule.model_validate(row.keeping),
        "keeping_in_force": KeepingRule.model_validate(
            wired.keeping.defaults.of(row), from_attributes=True
        ),
        "links": {"self": here, "usage": f"{here}/usage"},
    }


@router.post(
    "",
    operation_id="create_organisation",
    summary="Make an organisation",
    status_code=201,
    response_model=OrganisationCreated,
)
def create_organisation(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    body: OrganisationRequest,
    key: IdempotencyKey,
) -> Response:
    """Make an organisation, with its first admin key: shown only here, to be handed to its owner.

    Needs an admin key of the first organisation, whose owner runs the installation. Organisations
    share nothing: what one holds does not exist for another (404).
    """
    require_operator(principal)
    route = "POST /v1/organisations"
    minting = Minting(request, principal, route, key)

    def effect(session: Session) -> str:
        key_id = new_key_id()
        secret = minting.secret(key_id)
        return wired.organisations.enter(
            session, body.name, body.limits.own(), key_id, secret, body.keeping.own()
        ).id

    def show(reply: Reply) -> OrganisationCreated:
        row = wired.organisations.get(principal, reply.resource_id)
        key_id = wired.organisations.first_key(row.id)
        secret = minting.secret(key_id)
        if not wired.keys.is_secret_of(key_id, secret):
            raise KeyNotShownAgain(about=key_id)
        shown = {"key_id": key_id, "key": key_text(key_id, secret)}
        return OrganisationCreated.model_validate(_fields(wired, row) | shown)

    return create_once(
        request,
        wired,
        principal,
        key,
        route=route,
        body=body.model_dump(mode="json"),
        effect=effect,
        show=show,
        reach=EVERYTHING,
    )


@get_and_head(
    router,
    "",
    operation_id="list_organisations",
    summary="List organisations, newest first",
    response_model=OrganisationPage,
)
def list_organisations(
    request: Request, response: Response, wired: Wired, principal: CanAdminister, paging: Paging
) -> OrganisationPage:
    """List the organisations of the installation, newest first; your own alone, unless your key is
    one of the first organisation.
    """
    found = wired.organisations.page(principal, paging.after("organisations", {}), paging.limit)
    cursor = paging.finish(response, request.url.path, "organisations", {}, found.next)
    items = tuple(OrganisationResource.model_validate(_fields(wired, row)) for row in found.rows)
    return OrganisationPage(items=items, next_cursor=cursor)


@get_and_head(
    router,
    "/{organisation_id}",
    operation_id="read_organisation",
    summary="Read an organisation",
    response_model=OrganisationResource,
)
def read_organisation(
    request: Request, wired: Wired, principal: CanAdminister, organisation_id: OrganisationPath
) -> Response:
    """Read name and limits of an organisation; its ETag is needed to change it."""
    row = wired.organisations.get(principal, organisation_id)
    return represent(request, OrganisationResource.model_validate(_fields(wired, row)))


@router.patch(
    "/{organisation_id}",
    operation_id="change_organisation",
    summary="Change an organisation",
    response_model=OrganisationResource,
)
def change_organisation(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    organisation_id: OrganisationPath,
    body: OrganisationChange,
    if_match: IfMatch = None,
) -> Response:
    """Change name or limits (needs an admin key of the first organisation), or how long things are
    kept (an admin key of its own will do). `limits` and `keeping` replace all of its own. Nothing
    is removed by a changed rule for a week.
    """
    wired.organisations.get(principal, organisation_id)  # what is not seen does not exist
    if body.name is not None or body.limits is not None:
        require_operator(principal)
    values: dict[str, Any] = {}
    if body.name is not None:
        values["name"] = body.name
    if body.limits is not None:
        values["limits"] = body.limits.own()
    if body.keeping is not None:
        values["keeping"] = body.keeping.own()

    def unless_changed(row: Organisation) -> None:
        require_match(request, OrganisationResource.model_validate(_fields(wired, row)))

    row = wired.organisations.change(organisation_id, values, unless_changed)
    return represent(request, OrganisationResource.model_validate(_fields(wired, row)))


@get_and_head(
    router,
    "/{organisation_id}/usage",
    operation_id="read_usage",
    summary="Read what an organisation used",
    response_model=OrganisationUsage,
)
def read_usage(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    organisation_id: OrganisationPath,
    first: MonthQuery = None,
    last: MonthQuery = None,
) -> Response:
    """Read films, bytes, minutes of film and processor seconds by calendar month (UTC)."""
    months = wired.organisations.usage(principal, organisation_id, first, last)
    used = tuple(
        MonthUsed(
            month=one.month,
            films=one.films,
            bytes=one.bytes,
            analyses=one.analyses,
            film_minutes=one.film_s / 60.0,
            processor_s=one.processor_s,
        )
        for one in months
    )
    return represent(request, OrganisationUsage(organisation_id=organisation_id, months=used))
