"""Notes each request that read or changed something in the audit log."""

from __future__ import annotations

import logging

from anyio import to_thread
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.middleware import METRICS
from service.core.audit import AuditActor, AuditLog, ids_in
from service.core.guests import Guest
from service.core.principal import Principal

logger = logging.getLogger(__name__)


class Auditing:
    """Innermost, so that it knows who asks; notes after the answer, so that nobody waits for it.

    Only what was answered is noted: a refusal read nothing and changed nothing. An entry that
    cannot be written is an error in the log of the process, with what it would have said.
    """

    def __init__(self, app: ASGIApp, log: AuditLog) -> None:
        self._app = app
        self._log = log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["method"] == "OPTIONS" or scope["path"] == METRICS:
            await self._app(scope, receive, send)
            return
        guest: Guest | None = scope.get("state", {}).get("guest")
        told = ids_in(scope["path"]) if guest is None else [guest.link.id]
        about = None
        if scope["method"] == "DELETE":  # afterwards nobody knows whose it was
            about = await to_thread.run_sync(self._log.about, told)
        answered: list[tuple[int, str]] = []

        async def outgoing(message: Message) -> None:
            if message["type"] == "http.response.start":
                location = Headers(raw=message["headers"]).get("location", "")
                answered.append((message["status"], location))
            await send(message)

        await self._app(scope, receive, outgoing)
        actor = self._actor(scope)
        route = scope.get("route")
        action = getattr(route, "operation_id", None) or getattr(route, "name", None)
        if actor is None or action is None or not answered or answered[0][0] >= 400:
            return
        try:
            if about is None:
                made = ids_in(answered[0][1]) if scope["method"] == "POST" else []
                about = await to_thread.run_sync(self._log.about, [*told, *made])
            await to_thread.run_sync(self._log.note, actor, action, about)
        except Exception:  # answered already: whoever asked has what they asked for
            logger.exception("audit entry lost: %s %s, %s %s", actor.kind, actor.id, action, about)

    def _actor(self, scope: Scope) -> AuditActor | None:
        state = scope.get("state", {})
        guest: Guest | None = state.get("guest")
        if guest is not None:
            return AuditActor("link", guest.link.id, guest.link.tenant_id)
        principal: Principal | None = state.get("principal")
        return (
            None if principal is None else AuditActor("key", principal.key_id, principal.tenant_id)
        )
