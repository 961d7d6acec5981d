"""API keys of the caller's organisation."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from models.contract.accounts import (
    ApiKeyCreated,
    ApiKeyList,
    ApiKeyRequest,
    ApiKeyResource,
    ApiKeyRotation,
    KeyId,
)
from models.contract.errors import KeyNotShownAgain
from service.api.dependencies import (
    CanAdminister,
    IdempotencyKey,
    MayMatch,
    Wired,
    heed_match,
    represent,
)
from service.api.routing import create_once, get_and_head
from service.core.access import KeyFacts
from service.core.idempotency import Created, Reply
from service.core.key_text import key_text, new_key_id, new_secret, repeatable_secret
from service.core.principal import Principal, Scope

router = APIRouter(prefix="/v1/api-keys", tags=["keys"])
KeyPath = Annotated[KeyId, Path(examples=["5f2e9d3c1b7a6048"])]


class Minting:
    """The secret of a key that a request makes: a new one, or, for a request that may be repeated,
    one that its repeat comes to again (see :func:`~service.core.key_text.repeatable_secret`).
    """

    def __init__(self, request: Request, principal: Principal, route: str, key: str | None) -> None:
        self._seed = principal.seed
        self._named = None if key is None else f"{route} {key}"
        self._new = new_secret()
        # Read now: inside the transaction that uses it another one would wait for ever.
        self._installation: bytes = b"" if key is None else request.app.state.key_secret()

    def secret(self, key_id: str) -> str:
        """Return the secret of the key with this id."""
        if self._named is None:
            return self._new
        return repeatable_secret(self._installation, self._seed, key_id, self._named)


def key_resource(facts: KeyFacts) -> ApiKeyResource:
    """Return what can be shown of a key."""
    return ApiKeyResource.model_validate(_fields(facts))


def _fields(facts: KeyFacts) -> dict[str, object]:
    values = asdict(facts)
    del values["tenant_id"]
    return values


def _shown(wired: Wired, principal: Principal, key_id: str, secret: str) -> ApiKeyCreated:
    """Return a key with its secret, unless the secret is another by now."""
    if not wired.keys.is_secret_of(key_id, secret):
        raise KeyNotShownAgain(about=key_id)
    facts = wired.keys.find(principal.tenant_id, key_id)
    return ApiKeyCreated.model_validate({**_fields(facts), "key": key_text(key_id, secret)})


@router.post(
    "",
    operation_id="create_api_key",
    summary="Make an API key",
    status_code=201,
    response_model=ApiKeyCreated,
)
def create_key(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    body: ApiKeyRequest,
    key: IdempotencyKey,
) -> Response:
    """Make an API key. It is shown only here; the service keeps a digest.

    A key with `player_id` or `session_id` reaches only what is of that player or session; for it
    everything else does not exist (404). Such a key files its films under a session of the player.
    """
    route = "POST /v1/api-keys"
    minting = Minting(request, principal, route, key)

    def effect(session: Session) -> str:
        expires = None
        if body.expires_in_days is not None:
            expires = wired.database.now(session) + timedelta(days=body.expires_in_days)
        key_id = new_key_id()
        wired.keys.enter(
            session,
            body.name,
            tuple(Scope(name) for name in body.scopes),
            minting.secret(key_id),
            tenant_id=principal.tenant_id,
            key_id=key_id,
            expires_at=expires,
            player_id=body.player_id,
            session_id=body.session_id,
        )
        return key_id

    def show(reply: Reply) -> ApiKeyCreated:
        return _shown(wired, principal, reply.resource_id, minting.secret(reply.resource_id))

    return create_once(
        request,
        wired,
        principal,
        key,
        route=route,
        body=body.model_dump(mode="json"),
        effect=effect,
        show=show,
        location=lambda made: f"/v1/api-keys/{made.id}",
    )


@get_and_head(
    router, "", operation_id="list_api_keys", summary="List API keys", response_model=ApiKeyList
)
def list_keys(request: Request, wired: Wired, principal: CanAdminister) -> Response:
    """List the keys of your organisation, without their secrets."""
    items = tuple(key_resource(facts) for facts in wired.keys.list(principal.tenant_id))
    return represent(request, ApiKeyList(items=items))


@get_and_head(
    router,
    "/{key_id}",
    operation_id="read_api_key",
    summary="Read an API key",
    response_model=ApiKeyResource,
)
def read_key(request: Request, wired: Wired, principal: CanAdminister, key_id: KeyPath) -> Response:
    """Read what a key may do, how long, and when it was used last."""
    return represent(request, key_resource(wired.keys.find(principal.tenant_id, key_id)))


@router.post(
    "/{key_id}/rotate",
    operation_id="rotate_api_key",
    summary="Replace the secret of an API key",
    response_model=ApiKeyCreated,
)
def rotate_key(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    key_id: KeyPath,
    key: IdempotencyKey,
    body: ApiKeyRotation | None = None,
) -> Response:
    """Give a key a new secret, shown only here. The former one stays good for `overlap_hours`;
    id, scopes and expiry stay as they are. A key may replace itself.
    """
    wanted = body or ApiKeyRotation()
    route = f"POST /v1/api-keys/{key_id}/rotate"
    minting = Minting(request, principal, route, key)

    def effect(session: Session) -> Created:
        overlap = timedelta(hours=wanted.overlap_hours)
        wired.keys.rotate(session, principal.tenant_id, key_id, minting.secret(key_id), overlap)
        return Created(key_id, 200)

    return create_once(
        request,
        wired,
        principal,
        key,
        route=route,
        body=wanted.model_dump(mode="json"),
        effect=effect,
        show=lambda _reply: _shown(wired, principal, key_id, minting.secret(key_id)),
        location=lambda _made: None,
    )


@router.delete(
    "/{key_id}", operation_id="revoke_api_key", summary="Revoke an API key", status_code=204
)
def revoke_key(
    request: Request,
    wired: Wired,
    principal: CanAdminister,
    key_id: KeyPath,
    _if_match: MayMatch = None,
) -> Response:
    """End a key at once. The last admin key that does not expire stays (409)."""
    heed_match(request, key_resource(wired.keys.find(principal.tenant_id, key_id)))
    wired.keys.revoke(key_id, principal.tenant_id)
    return Response(status_code=204)
