"""One webhook on its way."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Parcel:
    """One event on its way to one endpoint.

    Attributes
    ----------
    secrets : tuple of str
        Signing secrets in force, newest first.
    doubtful : bool
        Whether the endpoint did not answer the last time.
    event_type : str
        What it tells of.
    traceparent : str or None
        Where the trace of the event goes on.
    """

    event_id: str
    endpoint_id: str
    tenant_id: str
    tries: int
    url: str
    secrets: tuple[str, ...]
    body: str
    doubtful: bool
    event_type: str
    traceparent: str | None
