"""Webhooks: only what the service signed is an event.

The service signs by Standard Webhooks 1.0. While a secret is being replaced it signs with the new
and the former one; hand over the secrets you know, newest first, and none is lost on the way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self

from standardwebhooks.webhooks import EmptyWebhookSecretError, Webhook, WebhookVerificationError

from servewright_client.errors import SignatureError


@dataclass(frozen=True, slots=True)
class Event:
    """What happened, thin: fetch the rest with your key.

    Attributes
    ----------
    id : str
        The same for every repeat: drop what you have seen.
    type : str
        Such as ``analysis.completed``.
    about : str
        Id of the resource.
    data : mapping
        ``id``, ``status``, ``links``, ``headline``, ``problem``, …
    """

    id: str
    type: str
    time: datetime
    about: str
    data: Mapping[str, Any]
    raw: Mapping[str, Any] = field(repr=False)

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Self:
        """Return the event in a JSON document."""
        return cls(
            id=document["id"],
            type=document["type"],
            time=datetime.fromisoformat(document["time"]),
            about=document["data"]["id"],
            data=document["data"],
            raw=document,
        )


def verify_webhook(secrets: str | Sequence[str], headers: Mapping[str, str], body: bytes) -> Event:
    """Return the event of a webhook that was signed with one of the secrets.

    Parameters
    ----------
    secrets : str or sequence of str
        ``whsec_…``; several while one is being replaced.
    headers : mapping
        Of the request, in any case of letters.
    body : bytes
        As it came: parsed and written anew it is another one.

    Raises
    ------
    SignatureError
        For everything else: answer 401. More than five minutes old is too old.
    """
    known = [secrets] if isinstance(secrets, str) else list(secrets)
    plain = {name.lower(): value for name, value in headers.items()}
    reason = "no secret was given"
    for secret in known:
        try:
            return Event.of(Webhook(secret).verify(body, plain))
        # The library raises ValueError for a malformed field, secret or body.
        except (WebhookVerificationError, EmptyWebhookSecretError, ValueError) as error:
            reason = str(error)
    raise SignatureError(reason)
