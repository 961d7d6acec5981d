"""API keys: form, digest, life."""

from __future__ import annotations

import hashlib
import hmac
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from models.contract.errors import Conflict, InvalidRequest, NotFound, Unauthenticated
from service.core.key_text import key_text, new_secret, parse_key, repeatable_secret, seed_of
from service.core.principal import Principal, Scope
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
    with pytest.raises(Unauthenticated):
        wiring.keys.authenticate(key_text(other.split("_")[1], mine.split("_")[2]))


def test_revoked_and_expired_keys_end(wiring: Wiring) -> None:
    wiring.keys.add("admin")
    key = wiring.keys.add("k", (Scope.CLIPS_READ,))
    key_id = key.split("_")[1]
    with wiring.database.write() as session:
        past = wiring.database.now(session) - timedelta(seconds=1)
        session.execute(update(ApiKey).where(ApiKey.id == key_id).values(expires_at=past))
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


def test_the_former_secret_is_good_for_the_overlap(wiring: Wiring) -> None:
    former = wiring.keys.add("k")
    key_id = former.split("_")[1]
    secrets = [new_secret(), new_secret()]
    for overlap in (timedelta(hours=1), timedelta(0)):
        with wiring.database.write() as session:
            wiring.keys.rotate(session, "main", key_id, secrets[0], overlap)
        present = key_text(key_id, secrets[0])
        assert wiring.keys.authenticate(present).key_id == key_id
        if overlap:
            assert wiring.keys.authenticate(former).key_id == key_id
        else:
            with pytest.raises(Unauthenticated):
                wiring.keys.authenticate(former)
        former = present
        secrets.reverse()


def test_an_organisation_keeps_an_admin_key(wiring: Wiring) -> None:
    with wiring.database.read() as session:
        soon = wiring.database.now(session) + timedelta(days=1)
    with pytest.raises(Conflict):  # the first one would expire
        wiring.keys.add("k", expires_at=soon)
    first = wiring.keys.add("k").split("_")[1]
    wiring.keys.add("expires", expires_at=soon)
    wiring.keys.add("reads", (Scope.RESULTS_READ,))
    with pytest.raises(Conflict):
        wiring.keys.revoke(first)
    second = wiring.keys.add("k").split("_")[1]
    wiring.keys.revoke(first)
    with pytest.raises(Conflict):
        wiring.keys.revoke(second)


def test_two_admins_cannot_revoke_each_other_at_the_same_moment(wiring: Wiring) -> None:
    ids = [wiring.keys.add("k").split("_")[1] for _ in range(8)]

    def revoke(key_id: str) -> bool:
        try:
            wiring.keys.revoke(key_id)
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(revoke, ids)) == 7
    assert sum(key.revoked_at is None for key in wiring.keys.list()) == 1


def test_bound_keys_hold_no_scope_beyond_their_player(wiring: Wiring) -> None:
    who = Principal("k", "main", frozenset({"admin"}))
    with wiring.database.write() as session:
        values = {"external_id": "x", "handedness": "left", "sex": "unknown"}
        player = wiring.players.create(session, who, values).id
    for scope in (Scope.ADMIN, Scope.WEBHOOKS_MANAGE, Scope.RULES_MANAGE):
        with pytest.raises(InvalidRequest):
            wiring.keys.add("k", (scope,), player_id=player)
    bound = wiring.keys.authenticate(wiring.keys.add("k", (Scope.CLIPS_READ,), player_id=player))
    assert bound.reach.player_id == player
    with pytest.raises(NotFound):
        wiring.keys.add("k", (Scope.CLIPS_READ,), player_id="ply_" + "0" * 32)
    with pytest.raises(NotFound):
        wiring.keys.add("k", tenant_id="nobody")


def test_the_secret_of_a_repeated_request_needs_both_sides() -> None:
    """HMAC-SHA-256 (RFC 2104) by hand, and another secret for any other part."""
    seed = seed_of("ab" * 32)
    made = repeatable_secret(b"installation", seed, "0" * 16, "once")
    message = b"\x00".join((seed, b"0" * 16, b"once"))
    assert made == hmac.new(b"installation", message, "sha256").hexdigest()
    others = {
        repeatable_secret(b"another", seed, "0" * 16, "once"),
        repeatable_secret(b"installation", seed_of("cd" * 32), "0" * 16, "once"),
        repeatable_secret(b"installation", seed, "1" * 16, "once"),
        repeatable_secret(b"installation", seed, "0" * 16, "twice"),
    }
    assert len(others | {made}) == 5
