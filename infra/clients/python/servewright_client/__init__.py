"""Client of Servewright: films of tennis serves in, measured serve mechanics out.

::

    from servewright_client import Servewright

    with Servewright("https://serve.example.org", key) as servewright:
        clip = servewright.upload("serve.mp4")
        analysis = servewright.wait(servewright.analyse(clip.id, height_m=1.83))
        result = servewright.result(analysis)
"""

from servewright_client.client import Servewright
from servewright_client.errors import (
    ConflictError,
    DeniedError,
    GoneError,
    NotFoundError,
    NotStarted,
    OverloadedError,
    Problem,
    ProblemError,
    RefusedError,
    ServewrightClientError,
    SignatureError,
    UnreachableError,
    WaitedTooLong,
    WorkFailed,
)
from servewright_client.resources import (
    Clip,
    Endpoint,
    Erasure,
    GuestLink,
    Player,
    Session,
    Upload,
    Work,
)
from servewright_client.webhooks import Event, verify_webhook

__all__ = [
    "Clip",
    "ConflictError",
    "DeniedError",
    "Endpoint",
    "Erasure",
    "Event",
    "GoneError",
    "GuestLink",
    "NotFoundError",
    "NotStarted",
    "OverloadedError",
    "Player",
    "Problem",
    "ProblemError",
    "RefusedError",
    "Servewright",
    "ServewrightClientError",
    "Session",
    "SignatureError",
    "UnreachableError",
    "Upload",
    "WaitedTooLong",
    "Work",
    "WorkFailed",
    "verify_webhook",
]
