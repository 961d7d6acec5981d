"""Signatures: made here by the rules of Standard Webhooks 1.0, not by the library in use."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import time

import pytest
from servewright_client import SignatureError, verify_webhook

NEW = "whsec_" + base64.b64encode(b"n" * 32).decode()
FORMER = "whsec_" + base64.b64encode(b"f" * 32).decode()
OTHER = "whsec_" + base64.b64encode(b"o" * 32).decode()
BODY = json.dumps(
    {
        "specversion": "1.0",
        "id": "evt_1",
        "type": "analysis.completed",
        "time": "2026-05-04T10:00:00Z",
        "data": {"resource": "analysis", "id": "ana_1", "status": "completed"},
    }
).encode()


def signed(*secrets: str, at: float | None = None, body: bytes = BODY) -> dict[str, str]:
    """Headers of a message: `v1,` and base64 of HMAC-SHA256 over id.timestamp.body."""
    stamp = str(int(time.time() if at is None else at))
    signatures = []
    for secret in secrets:
        key = base64.b64decode(secret.removeprefix("whsec_"))
        digest = hmac.new(key, b"evt_1." + stamp.encode() + b"." + body, hashlib.sha256).digest()
        signatures.append("v1," + base64.b64encode(digest).decode())
    return {
        "Webhook-Id": "evt_1",
        "Webhook-Timestamp": stamp,
        "Webhook-Signature": " ".join(signatures),
    }


@pytest.mark.parametrize(
    ("known", "signers"),
    [
        (NEW, [NEW]),
        ([NEW, FORMER], [NEW]),
        ([NEW, FORMER], [FORMER]),  # a receiver that was told the new one first
        (FORMER, [NEW, FORMER]),  # a receiver that was not told yet
        ([NEW, FORMER], [NEW, FORMER]),
    ],
)
def test_either_secret_will_do_while_one_is_replaced(known, signers: list[str]) -> None:
    event = verify_webhook(known, signed(*signers), BODY)
    assert (event.id, event.type, event.about) == ("evt_1", "analysis.completed", "ana_1")
    assert event.data["status"] == "completed"
    assert event.time.utcoffset() is not None


@pytest.mark.parametrize(
    ("known", "headers", "body"),
    [
        (OTHER, signed(NEW, FORMER), BODY),
        ([], signed(NEW), BODY),
        ("", signed(NEW), BODY),
        ("whsec_no base64!", signed(NEW), BODY),
        (NEW, signed(NEW), BODY + b" "),
        (NEW, signed(NEW, at=time.time() - 360), BODY),
        (NEW, signed(NEW, at=time.time() + 360), BODY),
        (NEW, {}, BODY),
        (NEW, signed(NEW) | {"Webhook-Signature": "v1"}, BODY),
        (NEW, signed(NEW) | {"Webhook-Timestamp": "now"}, BODY),
        (NEW, signed(NEW), b"\xff\xfe"),
    ],
)
def test_everything_else_is_refused(known, headers: dict[str, str], body: bytes) -> None:
    with pytest.raises(SignatureError):
        verify_webhook(known, headers, body)
