"""Own lines by HTTP: sent, read, removed; what does not fit is said with its place."""

from __future__ import annotations

import httpx

from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made
from tests.integration.api.conftest import assert_problem

MARK = {"type": "point", "picture": "serve-1-loading.jpg", "at": [1, 1]}


def test_lines_of_an_analysis(client: httpx.Client, wired: Wiring) -> None:
    analysis = analysed(client, wired, None)
    here = f"/v1/analyses/{analysis}/annotations"
    assert_problem(client.get(here), 404, "not_found")
    # The example analysis has one picture, of another name than any of an event.
    reply = client.put(here, json={"marks": [MARK]})
    assert_problem(reply, 422, "invalid_request")
    assert reply.json()["errors"][0]["pointer"] == "/marks/0/picture"
    wrong = client.put(here, json={"marks": [MARK | {"at": [1]}]})
    assert_problem(wrong, 422, "invalid_request")
    with wired.database.write() as session:
        from service.core.tables import Work

        row = session.get_one(Work, analysis)
        pictures = {f"pictures/{MARK['picture']}": row.artifacts["pictures/contact.png"]}
        row.artifacts = {**row.artifacts, **pictures}
    sent = made(client.put(here, json={"marks": [MARK]}), 200)
    assert sent["schema"].endswith("annotations.v1.json")
    reply = client.get(here)
    assert reply.json() == sent
    stale = client.put(here, json={"marks": [MARK]}, headers={"if-match": '"other"'})
    assert_problem(stale, 412, "precondition_failed")
    assert client.delete(here, headers={"if-match": reply.headers["etag"]}).status_code == 204
    assert_problem(client.get(here), 404, "not_found")


def test_own_rules_of_an_analysis(client: httpx.Client, wired: Wiring) -> None:
    gone = {"rules_id": "rul_" + "0" * 32}
    analysis = analysed(client, wired, None)
    clip = client.get(f"/v1/analyses/{analysis}").json()["clip_id"]
    reply = client.post("/v1/analyses", json={"clip_id": clip, "options": gone})
    assert_problem(reply, 404, "not_found")
    again = client.post(f"/v1/analyses/{analysis}/again", json=gone)
    assert_problem(again, 404, "not_found")
    both = [client.post(f"/v1/analyses/{analysis}/again", json=b) for b in (None, {})]
    assert [one.status_code for one in both] == [201, 201]
    early = {"rules_id": "rul_" + "0" * 32}
    body = {"label": "x", "consent": {"text": "yes", "version": "1"}, "analyse": early}
    refused = client.post("/v1/intake-links", json=body)
    assert_problem(refused, 422, "invalid_request")
    assert "once it is" in refused.text
