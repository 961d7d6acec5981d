"""Standard Webhooks 1.0 signatures, and the secrets they are made with."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime

from standardwebhooks import Webhook

SECRET_BYTES = 32
"""Bytes of a signing secret; Standard Webhooks 1.0 asks for 24 to 64."""


def new_secret() -> str:
    """Return a new endpoint secret, ``whsec_`` and base64."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signed_headers(
    keys: Sequence[str], message_id: str, attempted_at: datetime, body: str
) -> dict[str, str]:
    """Return the three webhook headers of one try.

    Parameters
    ----------
    keys : sequence of str
        Secrets in force, newest first; more than one while a secret is being replaced.
    attempted_at : datetime
        Aware. Turned into UTC first: the library reads the clock face of any other zone as UTC,
        and nobody could verify the result.
    """
    if attempted_at.tzinfo is None:
        raise ValueError("naive datetime")
    moment = attempted_at.astimezone(UTC)
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(int(moment.timestamp())),
        "webhook-signature": " ".join(Webhook(key).sign(message_id, moment, body) for key in keys),
    }
