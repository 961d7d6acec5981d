"""Organisations and the rotation of keys on the command line."""

from __future__ import annotations

import re

import pytest

from models.contract.errors import Unauthenticated
from service.core.access import Keys
from service.core.principal import Scope
from service.core.usage import count
from service.core.wiring import Wiring
from tests.unit.cli.conftest import Invoke
from workers.cli.console import Exit

MONTH = "2026-11"


def new_organisation(invoke: Invoke, name: str = "another club") -> tuple[str, str]:
    """Return its id and its first admin key."""
    shown = invoke("organisations", "add", name)
    assert shown.exit_code == 0, shown.stderr
    match = re.search(r"org_[0-9a-f]{32}", shown.stderr)
    assert match
    return match[0], shown.stdout.strip()


def test_an_organisation_comes_with_a_key_that_administers_it_alone(
    invoke: Invoke, wiring: Wiring
) -> None:
    organisation, key = new_organisation(invoke)
    principal = wiring.keys.authenticate(key)
    assert (principal.tenant_id, principal.scopes) == (organisation, {Scope.ADMIN})
    listed = invoke("organisations", "list").stdout
    assert organisation in listed.replace("\n", "")
    assert "main" in listed
    assert key not in listed + invoke("keys", "list").stdout


def test_a_key_is_made_for_an_organisation(invoke: Invoke, wiring: Wiring) -> None:
    organisation, _ = new_organisation(invoke)
    made = invoke("keys", "add", "camera", "--scope", "clips:write", "--organisation", organisation)
    assert wiring.keys.authenticate(made.stdout.strip()).tenant_id == organisation
    wrong = invoke("keys", "add", "camera", "--organisation", "org_" + "0" * 32)
    assert wrong.exit_code == Exit.USAGE
    assert wrong.stdout == ""


@pytest.mark.parametrize("name", ["", "x" * 101])
def test_a_name_that_the_api_would_refuse_is_refused(invoke: Invoke, name: str) -> None:
    before = invoke("organisations", "list").stdout
    shown = invoke("organisations", "add", name)
    assert shown.exit_code == Exit.USAGE
    assert "characters" in shown.stderr
    assert invoke("organisations", "list").stdout == before


def test_limits_are_set_and_taken_back(invoke: Invoke, wiring: Wiring) -> None:
    organisation, _ = new_organisation(invoke)

    def limits() -> dict[str, int]:
        row = next(one for one in wiring.organisations.all() if one.id == organisation)
        return dict(row.limits)

    assert invoke("organisations", "limit", organisation, "films_per_month=500").exit_code == 0
    assert invoke("organisations", "limit", organisation, "waiting_work=9").exit_code == 0
    assert limits() == {"films_per_month": 500, "waiting_work": 9}
    assert "films_per_month 500" in " ".join(invoke("organisations", "list").stdout.split())
    assert invoke("organisations", "limit", organisation, "films_per_month=").exit_code == 0
    assert limits() == {"waiting_work": 9}


@pytest.mark.parametrize("wrong", ["films_per_month", "films=3", "films_per_month=-1", "x=y"])
def test_a_limit_that_makes_no_sense_changes_nothing(
    invoke: Invoke, wiring: Wiring, wrong: str
) -> None:
    shown = invoke("organisations", "limit", "main", wrong)
    assert shown.exit_code == Exit.USAGE
    assert shown.stderr.strip()
    assert [row.limits for row in wiring.organisations.all() if row.id == "main"] == [{}]


def test_an_organisation_that_is_not_there(invoke: Invoke) -> None:
    shown = invoke("organisations", "limit", "org_" + "0" * 32, "waiting_work=9")
    assert shown.exit_code == Exit.USAGE
    assert "no organisation" in " ".join(shown.stderr.split())


def test_usage_is_listed_by_month_and_organisation(invoke: Invoke, wiring: Wiring) -> None:
    organisation, _ = new_organisation(invoke)
    with wiring.database.write() as session:
        now = wiring.database.now(session).replace(year=2026, month=11, day=3)
        count(session, organisation, now, films=3, bytes=2_500_000, film_s=90.0, processor_s=12.5)
        count(session, "main", now, films=7)
    shown = invoke("organisations", "usage", organisation, "--month", MONTH).stdout
    (row,) = [line for line in shown.splitlines() if MONTH in line]
    cells = [cell.strip() for cell in row.strip("│┃ ").split("│")]
    assert cells[1:] == [MONTH, "3", "2.5", "0", "1.50", "12.5"]
    everything = invoke("organisations", "usage").stdout
    assert len([line for line in everything.splitlines() if MONTH in line]) == 2
    assert MONTH not in invoke("organisations", "usage", "--month", "2026-10").stdout


def test_a_rotated_key_and_the_former_one_are_good_for_a_while(
    invoke: Invoke, wiring: Wiring
) -> None:
    first = invoke("keys", "add", "club app").stdout.strip()
    key_id = wiring.keys.authenticate(first).key_id
    shown = invoke("keys", "rotate", key_id)
    assert shown.exit_code == 0
    second = shown.stdout.strip()
    assert second != first
    assert {wiring.keys.authenticate(key).key_id for key in (first, second)} == {key_id}
    third = invoke("keys", "rotate", key_id, "--overlap", "0").stdout.strip()
    assert wiring.keys.authenticate(third).key_id == key_id
    for former in (first, second):
        with pytest.raises(Unauthenticated):
            Keys(wiring.database).authenticate(former)


def test_a_key_that_cannot_be_rotated(invoke: Invoke, wiring: Wiring) -> None:
    unknown = invoke("keys", "rotate", "0" * 16)
    assert unknown.exit_code == Exit.USAGE
    assert "no key in force" in " ".join(unknown.stderr.split())
    key = invoke("keys", "add", "old").stdout.strip()
    invoke("keys", "add", "new")
    key_id = wiring.keys.authenticate(key).key_id
    assert invoke("keys", "rotate", key_id, "--overlap", "1000").exit_code != 0
    assert invoke("keys", "revoke", key_id).exit_code == 0
    revoked = invoke("keys", "rotate", key_id)
    assert (revoked.exit_code, revoked.stdout) == (Exit.USAGE, "")


def test_generated_keys_are_stored_nowhere(invoke: Invoke, wiring: Wiring) -> None:
    key = invoke("keys", "generate").stdout.strip()
    with pytest.raises(Unauthenticated):
        wiring.keys.authenticate(key)
    assert invoke("keys", "generate").stdout.strip() != key
