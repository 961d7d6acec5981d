"""No special-purpose address becomes a webhook endpoint, by the whole API."""

from __future__ import annotations

import httpx

from tests.integration.api.conftest import assert_problem
from tests.unit.service.core.test_special_targets import SPELLINGS, V4, V6, bracketed, watched


def test_no_special_address_can_be_registered(client: httpx.Client) -> None:
    with watched() as connections:
        for host in (*map(bracketed, (*V4, *V6)), *SPELLINGS):
            reply = client.post("/v1/webhook-endpoints", json={"url": f"https://{host}/"})
            problem = assert_problem(reply, 422, "invalid_request")
            assert problem["errors"][0]["pointer"] == "/url"
    assert not [where for where in connections if isinstance(where, tuple)]
    assert client.get("/v1/webhook-endpoints").json()["items"] == []
