"""Standard Webhooks 1.0 signatures against a worked computation and the library."""

from __future__ import annotations

import base64
import hashlib
import hmac
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from standardwebhooks import Webhook, WebhookVerificationError

from service.core.signing import new_secret, signed_headers


def now() -> datetime:
    """Taken when used: the verifier refuses stamps older than five minutes."""
    return datetime.now(UTC).replace(microsecond=0)


def by_the_text(secret: str, headers: dict[str, str], body: str) -> str:
    """Return the signature as the specification words it."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.{body}".encode()
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def test_published_vector() -> None:
    # standard-webhooks/libraries/rust/src/lib.rs, test_sign
    headers = signed_headers(
        ["whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD"],
        "msg_27UH4WbU6Z5A5EzD8u03UvzRbpk",
        datetime.fromtimestamp(1649367553, UTC),
        '{"email":"test@example.com","username":"test_user"}',
    )
    assert headers["webhook-timestamp"] == "1649367553"
    assert headers["webhook-signature"] == "v1,tZ1I4/hDygAJgO5TYxiSd6Sd0kDW6hPenDe+bTa3Kkw="


@given(st.text(max_size=200), st.integers(-12, 14))
def test_any_body_and_zone_verify(body: str, offset: int) -> None:
    secret = new_secret()
    moment = now().astimezone(timezone(timedelta(hours=offset)))
    headers = signed_headers([secret], "evt_1", moment, body)
    assert headers["webhook-signature"] == by_the_text(secret, headers, body)
    Webhook(secret).verify(body, headers, json_parse=False)


def test_two_keys_give_two_signatures() -> None:
    old, new = new_secret(), new_secret()
    headers = signed_headers([new, old], "evt_1", now(), "{}")
    for key in (old, new):
        Webhook(key).verify("{}", headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(new_secret()).verify("{}", headers)


def test_naive_time_is_refused() -> None:
    with pytest.raises(ValueError, match="naive"):
        signed_headers([new_secret()], "evt_1", datetime(2026, 1, 1), "{}")


def test_secrets_are_long_and_differ() -> None:
    made = {new_secret() for _ in range(50)}
    assert len(made) == 50
    for secret in made:
        assert 24 <= len(base64.b64decode(secret.removeprefix("whsec_"))) <= 64
