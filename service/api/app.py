"""The application factory; :mod:`service.api.server` serves it."""

from __future__ import annotations

import functools
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import to_thread
from fastapi import Depends, FastAPI

from models.contract.errors import DatabaseUnavailable
from service.api import (
    analyses,
    audit,
    branding,
    clips,
    consents,
    deliveries,
    derived,
    erasures,
    exports,
    health,
    intake_guests,
    intake_links,
    joints,
    keeping,
    keys,
    live_hold,
    metrics,
    multipart_uploads,
    openapi,
    operations,
    organisations,
    own_lines,
    pages,
    players,
    problems,
    resumable,
    rules,
    share_links,
    shared,
    voices,
    webhooks,
    words,
)
from service.api.auditing import Auditing
from service.api.compression import Compression
from service.api.cross_origin import allow_origins
from service.api.dependencies import known_query
from service.api.link_admission import LinkAdmission
from service.api.middleware import JOINTS, Authentication, BodyLimit, RequestBoundary
from service.api.traced import TracedRequests
from service.api.tus import ResumableProtocol, is_upload_path
from service.core.audio import MOST_BYTES as MOST_VOICE_BYTES
from service.core.branding import MOST_LOGO_BYTES
from service.core.database import revision_present, revision_wanted
from service.core.first_key import FirstKeyNotWritten, hand_out_first_key
from service.core.guests import Guest
from service.core.installation import installation_secret
from service.core.logs import configure_logging
from service.core.principal import Principal
from service.core.settings import Settings
from service.core.traces import Traces
from service.core.wiring import Wiring, wire

logger = logging.getLogger(__name__)
FORM_OVERHEAD_BYTES = 64 * 1024
"""What a form may add to the file it carries, bytes."""


def create_app(settings: Settings | None = None, traces: Traces | None = None) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    settings : Settings or None
        None reads the environment.
    traces : Traces or None
        Records spans; None = as the environment says.
    """
    settings = settings or Settings()
    wired = wire(settings, traces)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        configure_logging(settings.log_level, settings.log_format, replace=False)
        app.state.probe = health.HealthProbe(wired)
        background = wired.background() if settings.background else None
        await to_thread.run_sync(_first_key, wired)
        if background is not None:
            background.start()
        try:
            yield
        finally:
            if background is not None:
                await to_thread.run_sync(background.stop)
            app.state.probe.close()
            wired.close()

    app = FastAPI(
        title="Servewright",
        version=openapi.VERSION,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=lifespan,
        redirect_slashes=False,
        webhooks=openapi.webhooks,
    )
    app.state.wiring = wired
    app.state.query_names = {}
    app.state.pages = pages.made_once(app)
    app.state.cursor_secret = functools.cache(lambda: installation_secret(wired.database, "cursor"))
    app.state.link_secret = functools.cache(lambda: installation_secret(wired.database, "links"))
    app.state.key_secret = functools.cache(lambda: installation_secret(wired.database, "keys"))
    app.openapi = functools.partial(openapi.document, app)  # type: ignore[method-assign]
    problems.install(app)
    for router in (
        clips.router,
        multipart_uploads.router,
        resumable.router,
        analyses.router,
        joints.router,
        players.router,
        consents.router,
        exports.router,
        derived.comparisons,
        derived.progress,
        derived.plans,
        derived.drill_checks,
        erasures.router,
        keeping.router,
        rules.router,
        own_lines.router,
        voices.router,
        branding.router,
        webhooks.router,
        deliveries.router,
        keys.router,
        audit.router,
        organisations.router,
        operations.router,
        metrics.router,
        words.router,
        intake_links.router,
        share_links.router,
        intake_guests.router,
    ):
        app.include_router(router, dependencies=[Depends(known_query)])
    if settings.live_hold:
        app.include_router(live_hold.router)
    for router in (health.router, pages.router, intake_guests.page_router, shared.router):
        app.include_router(router)

    def limit_of(method: str, path: str) -> int:
        if method == "POST" and path == "/v1/clips":
            return settings.max_clip_bytes + FORM_OVERHEAD_BYTES
        if method == "POST" and path == JOINTS:
            return settings.max_joints_bytes + FORM_OVERHEAD_BYTES
        if method == "POST" and path.startswith("/v1/players/") and path.endswith("/voices"):
            return MOST_VOICE_BYTES
        if method == "PUT" and path == "/v1/branding/logo":
            return MOST_LOGO_BYTES
        if method in ("PATCH", "POST") and is_upload_path(path):
            return settings.max_clip_bytes
        return settings.max_body_bytes

    # The last one added is the outermost.
    app.add_middleware(Auditing, log=wired.audit)
    app.add_middleware(Authentication, admit=functools.partial(_admit, wired))
    app.add_middleware(LinkAdmission, admit=functools.partial(_admit_guest, app, wired))
    app.add_middleware(BodyLimit, limit_of=limit_of)
    app.state.metrics = metrics.registry_of(wired)
    app.add_middleware(metrics.CountedAnswers, metrics=metrics.RequestMetrics(app.state.metrics))
    app.add_middleware(Compression)
    app.add_middleware(RequestBoundary)
    app.add_middleware(TracedRequests, traces=wired.traces)
    app.add_middleware(ResumableProtocol)
    allow_origins(app, settings.cors_origins)
    return app


def _admit(wired: Wiring, key: str) -> Principal:
    """Return who holds a key, counting the request towards the limit of the organisation."""
    principal = wired.keys.authenticate(key)
    own = principal.requests_per_minute
    limit = wired.quotas.defaults.requests_per_minute if own is None else own
    wired.rates.check(principal.tenant_id, limit)
    return principal


def _admit_guest(app: FastAPI, wired: Wiring, kind: str, text: str, address: str) -> Guest:
    """Return who comes with a link."""
    return wired.guests.admit(kind, text, address, app.state.link_secret)


def _first_key(wired: Wiring) -> None:
    """Make the first admin key, once in the life of the installation, and say where it is."""
    try:
        if revision_present(wired.database) != revision_wanted():
            logger.error("the database is not migrated: run servewright migrate")
            return
        hand_out_first_key(wired.settings, wired.keys)
    except DatabaseUnavailable:
        logger.error("the database does not answer; going on, /readyz tells when it is back")
    except FirstKeyNotWritten as error:
        logger.error("%s", error)
