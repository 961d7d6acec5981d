"""Generated requests that follow ids through the API: nothing crashes or contradicts the document.

What one request makes the next one reads, changes, erases and asks for again (the links of the
OpenAPI document); the answers are judged by the general-purpose checks of schemathesis. The suite
sends a few hundred; ``SERVEWRIGHT_TEST_CASES=5000 bash infra/test.sh -n 0
tests/integration/api/test_stateful.py`` sends as many as that says.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import warnings
from collections import Counter
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, seed
from hypothesis import settings as hypothesis_settings
from hypothesis.errors import Flaky
from hypothesis.stateful import run_state_machine_as_test

from service.core.key_text import parse_key
from service.core.reach import EVERYTHING
from service.core.settings import TEST_PREFIX
from service.core.tables import ApiKey
from service.core.wiring import Wiring
from tests.integration.api.coaching import made
from tests.integration.api.conftest import complete
from tests.integration.api.organisation_story import CANARY, Story
from tests.integration.api.test_schemathesis import (
    MAY_REFUSE_WHAT_FITS,
    positive_data_acceptance,
    schemathesis,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from schemathesis.checks import CHECKS
    from schemathesis.config import SchemathesisConfig

CONTENT = CHECKS.get_by_names(["content_type_conformance", "response_schema_conformance"])

CASES = int(os.environ.get(TEST_PREFIX + "CASES", "300"))
STEPS = 20
"""Requests that follow one another at most."""
ROUND = 25
"""Sequences a seed."""
ANEW = 5
"""Rounds after which they have a new organisation: what was in the one before is erased by then."""


PRECONDITION = "412"  # rightly so for entity tags that were made up
FITS = ["2XX", "3XX", "401", "403", "404", "409", "410", "416", "460", PRECONDITION]
FITS_NOT = [
    *["400", "401", "403", "404", "405", "409", "410", "413", "415", "422", "428", "460"],
    PRECONDITION,
]
JUDGED: dict[str, Any] = {
    "checks": {
        "positive_data_acceptance": {"expected-statuses": FITS},
        "negative_data_rejection": {"expected-statuses": FITS_NOT},
    },
    # The document has links of its own. Guessed ones take the id of one kind of document to the
    # address of another, and then count it as a request that fits.
    "phases": {"stateful": {"inference": {"algorithms": []}}},
}
"""Statuses that may answer what fits the document and what does not; never one of 5xx."""


RIGHTLY = ("idempotency_conflict", "invalid_cursor")
"""Codes of what the document cannot say: a key used before, a cursor that was not given out."""


class Findings:
    """What the requests brought to light, each kind once."""

    def __init__(self) -> None:
        self.cases = 0
        self.statuses: Counter[int] = Counter()
        self.operations: Counter[str] = Counter()
        self.found: dict[tuple[str, str], str] = {}

    def note(self, case: Any, response: Any, failures: list[BaseException]) -> None:
        for failure in failures:
            key = (case.operation.label, type(failure).__name__)
            self.found.setdefault(
                key, f"{failure}\n{case.as_curl_command()}\n{response.text[:500]}"
            )


def machine(app: FastAPI, keys: list[str], findings: Findings, mode: str) -> type:
    """Return the state machine of the document, which goes on after what it finds."""
    wired: Wiring = app.state.wiring
    config = SchemathesisConfig.from_dict({**JUDGED, "generation": {"mode": mode}})
    app.state.pages["openapi"]()  # made beforehand: the loader waits for 10 s at most
    loaded = schemathesis.openapi.from_asgi("/openapi.json", app, config=config)

    @loaded.auth()
    class Bearer:
        def get(self, case: Any, context: Any) -> str:
            return ""  # would be kept for a while, and keys are revoked on the way

        def set(self, case: Any, data: str, context: Any) -> None:
            case.headers["authorization"] = f"Bearer {keys[-1]}"

    base: Any = loaded.as_state_machine()

    class Machine(base):  # type: ignore[misc]
        def before_call(self, case: Any) -> None:
            for name in [name for name in case.headers or {} if name.lower() == "idempotency-key"]:
                positive = case.meta is None or case.meta.generation.mode.is_positive
                if positive and findings.cases % 4:  # now and then a key of another request
                    case.headers[name] = secrets.token_hex(8)

        def after_call(self, response: Any, case: Any) -> None:
            if response.status_code == 401 and keys[-1] in str(case.headers.get("authorization")):
                keys.append(new_key(wired, keys))  # it revoked or replaced its own
            name = case.operation.definition.raw.get("operationId")
            if name == "start_analysis" and response.status_code == 201 and findings.cases % 2:
                complete(wired, response.json()["id"])  # what a worker does

        def validate_response(self, response: Any, case: Any, **more: Any) -> None:
            findings.cases += 1
            findings.statuses[response.status_code] += 1
            findings.operations[case.operation.label] += response.status_code < 300
            name = case.operation.definition.raw.get("operationId")
            said = response.content.decode("utf-8", "replace")  # a logo is no text
            rightly = name in MAY_REFUSE_WHAT_FITS or any(one in said for one in RIGHTLY)
            excluded = [positive_data_acceptance] if rightly else []
            if said == CANARY:  # what stands for the files of documents in these tests
                excluded += CONTENT
            try:
                case.validate_response(response, excluded_checks=excluded, **more)
            except BaseExceptionGroup as group:
                findings.note(case, response, list(group.exceptions))

    return Machine


def new_key(wired: Wiring, keys: list[str]) -> str:
    """Return another admin key of the organisation that has the last one."""
    parsed = parse_key(keys[-1])
    assert parsed is not None
    with wired.database.read(EVERYTHING) as session:
        owner = session.get_one(ApiKey, parsed[0]).tenant_id
    return wired.keys.add("generated requests", tenant_id=owner)


def new_story(client: httpx.Client, wired: Wiring, number: int) -> str:
    """Make an organisation that holds one of everything; return its key."""
    reply = client.post("/v1/organisations", json={"name": f"club {number}"})
    key = str(made(reply)["key"])
    before, client.headers["authorization"] = client.headers["authorization"], f"Bearer {key}"
    Story(client, wired)
    client.headers["authorization"] = before
    return key


@pytest.mark.timeout(0)
def test_requests_that_follow_ids(client: httpx.Client, wired: Wiring, app: FastAPI) -> None:
    findings = Findings()
    keys = [wired.keys.add("generated requests")]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # Wrong requests seldom make anything that others could follow: one round in four.
        right = machine(app, keys, findings, "positive")
        mixed = machine(app, keys, findings, "all")
        number = 0
        while findings.cases < CASES:
            if number % ANEW == 0:
                first = number // ANEW % 3 == 2  # the first organisation makes and changes others
                keys.append(wired.keys.add("k") if first else new_story(client, wired, number))
            number += 1
            chosen = right if number % 4 else mixed
            # The same choices lead elsewhere once the service holds more: no fault of its own.
            with contextlib.suppress(Flaky):
                run_state_machine_as_test(
                    seed(number)(chosen),
                    settings=hypothesis_settings(
                        max_examples=ROUND,
                        stateful_step_count=STEPS,
                        deadline=None,
                        database=None,
                        phases=[Phase.generate],
                        suppress_health_check=list(HealthCheck),
                    ),
                )
    said = "\n\n".join(f"{where}: {kind}\n{text}" for (where, kind), text in findings.found.items())
    print(f"{findings.cases} cases: {dict(sorted(findings.statuses.items()))}")
    print("never answered with success:", [n for n, c in findings.operations.items() if not c])
    assert not findings.found, f"{len(findings.found)} findings in {findings.cases} cases\n{said}"
