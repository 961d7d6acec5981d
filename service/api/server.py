"""The API as a process: ``python -m service.api.server``, configured by the settings alone."""

from __future__ import annotations

import resource
from contextlib import suppress

import uvicorn

from service.api.patience import ConnectionLimits, patient
from service.core.hiding import hide_from_others
from service.core.logs import configure_logging
from service.core.settings import Settings

APP = "service.api.app:create_app"
DESCRIPTORS_BESIDE = 256
"""Descriptors for the database, the queue, the object store and files, beside connections (working
value)."""


def main() -> None:
    """Serve until SIGTERM or Ctrl-C; then no more is taken, and what runs gets ``drain_s``."""
    settings = Settings()
    configure_logging(settings.log_level, settings.log_format)
    hide_from_others()
    _allow_descriptors(settings.api_connections + DESCRIPTORS_BESIDE)
    uvicorn.run(
        APP,
        factory=True,
        host=settings.host,
        port=settings.port,
        http=patient(ConnectionLimits(settings.header_timeout_s, settings.api_connections)),
        log_config=None,
        log_level=settings.log_level,
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nothing that a caller could write is believed
        timeout_graceful_shutdown=settings.drain_s,
    )


def _allow_descriptors(wanted: int) -> None:
    """Raise the soft limit of open files as far as the hard one allows."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


if __name__ == "__main__":
    main()
