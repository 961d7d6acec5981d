"""API keys: form, digest, life."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from models.contract.errors import NotFound, Unauthenticated
from service.core.access import Scope, parse_key
from service.core.tables import ApiKey
from service.core.wiring import Wiring


def test_key_is_prefix_id_secret_and_check(wiring: Wiring) -> None:
    key = wiring.keys.add("k")
    prefix, key_id, secret, check = key.split("_")
    assert prefix == "sw"
    assert len(bytes.fromhex(secret)) == 32
    assert parse_key(key) == (key_id, secret)
    assert len(check) == 8


def test_only_the_digest_is_stored(wiring: Wiring) -> None:
    _, secret = parse_key(wiring.keys.add("k")) or ("", "")
    with wiring.database.read() as session:
        row = session.scalars(select(ApiKey)).one()
    assert row.digest == hashlib.sha256(bytes.fromhex(secret)).hexdigest()


def test_typing_error_is_seen_without_the_database() -> None:
    body = "sw_" + "a" * 16 + "_" + "b" * 64
    for wrong in (body, body + "_00000000", "", "sw_", "x" * 10_000):
        assert parse_key(wrong) is None


def test_scopes(wiring: Wiring) -> None:
    who = wiring.keys.authenticate(wiring.keys.add("k", (Scope.CLIPS_READ,)))
    assert who.may(Scope.CLIPS_READ)
    assert not who.may(Scope.CLIPS_WRITE)
    admin = wiring.keys.authenticate(wiring.keys.add("a"))
    assert all(admin.may(scope) for scope in Scope)


def test_wrong_secret_under_a_right_id(wiring: Wiring) -> None:
    mine, other = wiring.keys.add("a"), wiring.keys.add("b")
    mixed = "_".join((*other.split("_")[:2], mine.split("_")[2]))
    from service.core.access import _check

    with pytest.raises(Unauthenticated):
        wiring.keys.authenticate(f"{mixed}_{_check(mixed)}")


def test_revoked_and_expired_keys_end(wiring: Wiring) -> None:
    key = wiring.keys.add("k")
    key_id = key.split("_")[1]
    with wiring.database.write() as session:
        past = wiring.database.now(session) - timedelta(seconds=1)
        session.execute(update(ApiKey).values(expires_at=past))
    with pytest.raises(Unauthenticated, match="expired"):
        wiring.keys.authenticate(key)
    wiring.keys.revoke(key_id)
    with pytest.raises(Unauthenticated):
        wiring.keys.authenticate(key)
    with pytest.raises(NotFound):
        wiring.keys.revoke(key_id)


def test_first_key_is_made_once(wiring: Wiring) -> None:
    first = wiring.keys.add_first()
    assert first is not None
    assert wiring.keys.authenticate(first).may(Scope.ADMIN)
    assert wiring.keys.add_first() is None


def test_last_use_is_kept_by_the_hour(wiring: Wiring) -> None:
    key = wiring.keys.add("k")
    wiring.keys.authenticate(key)
    first = wiring.keys.list()[0].last_used_at
    wiring.keys.authenticate(key)
    assert wiring.keys.list()[0].last_used_at == first
