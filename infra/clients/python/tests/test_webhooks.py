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


def signed(*secrets: str, ahead_s: float = 0.0, body: bytes = BODY) -> dict[str, str]:
    """Headers of a message: `v1,` and base64 of HMAC-SHA256 over id.timestamp.body."""
    stamp = str(int(time.time() + ahead_s))
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
    ("known", "changed", "body"),
    [
        (OTHER, {}, BODY),
        ([], {}, BODY),
        ("", {}, BODY),
        ("whsec_no base64!", {}, BODY),
        (NEW, {}, BODY + b" "),
        (NEW, {}, b"\xff\xfe"),
        (NEW, {"Webhook-Signature": "v1"}, BODY),
        (NEW, {"Webhook-Signature": ""}, BODY),
        (NEW, {"Webhook-Timestamp": "now"}, BODY),
        (NEW, {"Webhook-Id": "evt_2"}, BODY),
    ],
)
def test_everything_else_is_refused(known, changed: dict[str, str], body: bytes) -> None:
    headers = signed(NEW)
    assert verify_webhook(NEW, headers, BODY)
    with pytest.raises(SignatureError):
        verify_webhook(known, headers | changed, body)


@pytest.mark.parametrize("ahead_s", [-330.0, 330.0])
def test_more_than_five_minutes_off_is_refused(ahead_s: float) -> None:
    with pytest.raises(SignatureError):
        verify_webhook(NEW, signed(NEW, ahead_s=ahead_s), BODY)
    assert verify_webhook(NEW, signed(NEW, ahead_s=ahead_s * 0.8), BODY)
