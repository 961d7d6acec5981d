from __future__ import annotations

from service.core.access import Keys
from service.core.principal import Scope
from service.core.wiring import Wiring
from tests.unit.cli.conftest import Invoke
from workers.cli.console import Exit


def test_key_is_printed_once_and_works(invoke: Invoke, wiring: Wiring) -> None:
    shown = invoke("keys", "add", "club app", "--scope", "clips:write")
    assert shown.exit_code == 0
    principal = Keys(wiring.database).authenticate(shown.stdout.strip())
    assert principal.scopes == {Scope.CLIPS_WRITE}
    listed = invoke("keys", "list").stdout
    assert "club app" in listed
    assert shown.stdout.strip() not in listed


def test_revoked_key_is_refused(invoke: Invoke, wiring: Wiring) -> None:
    key = invoke("keys", "add", "old").stdout.strip()
    only = invoke("keys", "revoke", Keys(wiring.database).authenticate(key).key_id)
    assert only.exit_code == Exit.USAGE  # nobody could administer any more
    assert "admin key" in only.stderr
    invoke("keys", "add", "new")
    key_id = Keys(wiring.database).authenticate(key).key_id
    assert invoke("keys", "revoke", key_id).exit_code == 0
    assert invoke("keys", "revoke", key_id).exit_code == Exit.USAGE  # no such key any more
    assert "revoked" in invoke("keys", "list").stdout


def test_unknown_scope_is_refused(invoke: Invoke) -> None:
    shown = invoke("keys", "add", "x", "--scope", "everything")
    assert shown.exit_code == Exit.USAGE
    assert "everything" in shown.stderr


def test_what_the_api_would_refuse_is_refused(invoke: Invoke) -> None:
    assert invoke("keys", "add", "").exit_code == Exit.USAGE
    assert invoke("keys", "add", "x" * 300).exit_code == Exit.USAGE
    shown = invoke("keys", "add", "x", "--days", "100000")
    assert shown.exit_code == Exit.USAGE
    assert "expires_in_days" in shown.stderr
