"""API keys of the caller's tenant."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from models.contract.resources import (
    ApiKeyCreated,
    ApiKeyList,
    ApiKeyRequest,
    ApiKeyResource,
    KeyId,
)
from service.api.dependencies import CanAdminister, Wired, represent
from service.api.routing import get_and_head
from service.core.access import KeyFacts
from service.core.key_text import parse_key
from service.core.principal import Scope

router = APIRouter(prefix="/v1/api-keys", tags=["keys"])


def _fields(facts: KeyFacts) -> dict[str, object]:
    return {
        "id": facts.id,
        "name": facts.name,
        "scopes": facts.scopes,
        "created_at": facts.created_at,
        "expires_at": facts.expires_at,
        "revoked_at": facts.revoked_at,
        "last_used_at": facts.last_used_at,
    }


@router.post(
    "",
    operation_id="create_api_key",
    summary="Make an API key",
    status_code=201,
    response_model=ApiKeyCreated,
)
def create_key(
    request: Request, wired: Wired, principal: CanAdminister, body: ApiKeyRequest
) -> Response:
    """Make an API key. It is shown only here; the service keeps a digest."""
    expires = None
    if body.expires_in_days is not None:
        with wired.database.read() as session:
            expires = wired.database.now(session) + timedelta(days=body.expires_in_days)
    scopes = tuple(Scope(name) for name in dict.fromkeys(body.scopes))
    key = wired.keys.add(body.name, scopes, tenant_id=principal.tenant_id, expires_at=expires)
    parsed = parse_key(key)
    assert parsed is not None
    facts = wired.keys.find(principal.tenant_id, parsed[0])
    created = ApiKeyCreated.model_validate({**_fields(facts), "key": key})
    return represent(request, created, 201)


@get_and_head(
    router, "", operation_id="list_api_keys", summary="List API keys", response_model=ApiKeyList
)
def list_keys(request: Request, wired: Wired, principal: CanAdminister) -> Response:
    """List the keys of your tenant, without their secrets."""
    items = tuple(
        ApiKeyResource.model_validate(_fields(facts))
        for facts in wired.keys.list(principal.tenant_id)
    )
    return represent(request, ApiKeyList(items=items))


@router.delete(
    "/{key_id}", operation_id="revoke_api_key", summary="Revoke an API key", status_code=204
)
def revoke_key(
    wired: Wired, principal: CanAdminister, key_id: Annotated[KeyId, Path()]
) -> Response:
    """End a key at once."""
    wired.keys.revoke(key_id, principal.tenant_id)
    return Response(status_code=204)
