"""A coach's rules: sent as YAML, judged with clear errors, used by plans, removed."""

from __future__ import annotations

import httpx
import pytest
import yaml
from jsonschema import Draft202012Validator

from service.core.queue import attempt_at
from service.core.wiring import Wiring
from tests.integration.api.coaching import analysed, made, new_player, new_session
from tests.integration.api.conftest import assert_problem
from workers.jobs import entry

OWN = """\
name: Club rules
findings:
  - {id: stiff, metric: front_knee_flexion, event: trophy, is: "<=", value: 90, unit: deg, scale: 5,
     text: Bend more., source: our own rule, drills: [hold_loaded]}
"""
HEADERS = {"content-type": "application/yaml"}


def send(client: httpx.Client, text: str | bytes, **headers: str) -> httpx.Response:
    return client.post("/v1/practice-rules", content=text, headers=HEADERS | headers)


def test_rules_are_kept_as_sent(client: httpx.Client) -> None:
    body = made(send(client, OWN))
    assert body["name"] == "Club rules"
    assert client.get(body["links"]["file"]).text == OWN
    assert client.get(body["links"]["self"]).json() == body
    assert client.get("/v1/practice-rules").json()["items"] == [body]
    assert client.delete(body["links"]["self"]).status_code == 204
    assert_problem(client.get(body["links"]["self"]), 404, "not_found")


def test_shipped_rules_fit_the_schema_that_is_served(client: httpx.Client) -> None:
    shipped = client.get("/v1/practice-rules/shipped/file")
    assert shipped.headers["content-type"].startswith("application/yaml")
    schema = client.get("/schemas/practice-rules.v1.json").json()
    Draft202012Validator(schema).validate(yaml.safe_load(shipped.text))
    assert made(send(client, shipped.text))["findings"] > 3


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("findings: [", ""),
        ("- a\n- b", ""),
        (OWN.replace("scale: 5", "scale: -5"), "/findings/6/scale"),
        (OWN.replace("[hold_loaded]", "[nowhere]"), ""),
        (OWN.replace("id: stiff, ", ""), ""),
        (OWN.replace("metric: front_knee", "metric: font_knee"), "/findings/6/metric"),
        (OWN.replace("event: trophy", "event: set_up"), "/findings/6"),
        (OWN + "colour: red\n", "/colour"),
        ("a: &a [*a]", ""),
        ("when: 2026-99-99", ""),
    ],
)
def test_wrong_file_is_refused_with_the_place(client: httpx.Client, text: str, place: str) -> None:
    problem = assert_problem(send(client, text), 422, "invalid_request")
    assert "rule file" in problem["detail"] or "entries" in problem["detail"]
    if place:
        assert [error["pointer"] for error in problem["errors"]] == [place]
    assert client.get("/v1/practice-rules").json()["items"] == []


def test_other_bodies_are_refused(client: httpx.Client) -> None:
    assert_problem(
        send(client, OWN, **{"content-type": "text/plain"}), 415, "unsupported_media_type"
    )
    assert_problem(send(client, b"\xff\xfe\xff"), 422, "invalid_request")
    assert_problem(send(client, b"#" * 300_000), 413, "payload_too_large")


def test_plan_by_own_rules_outlives_them(client: httpx.Client, wired: Wiring) -> None:
    player = new_player(client)
    analysed(client, wired, new_session(client, player, "baseline", 1))
    rules = made(send(client, OWN))
    asked = made(client.post(f"/v1/players/{player}/plans", json={"rules_id": rules["id"]}))
    client.delete(rules["links"]["self"])
    entry.work(wired, attempt_at(asked["id"], 1))
    body = client.get(asked["links"]["self"]).json()
    assert body["headline"]["focus"] == "stiff"  # 74.2 deg in the example serve
    assert body["headline"]["next"] == "hold_loaded"
    gone = client.post(f"/v1/players/{player}/plans", json={"rules_id": rules["id"]})
    assert_problem(gone, 404, "not_found")
    unknown = client.post(f"/v1/players/{player}/plans", json={"done": ["nothing"]})
    assert assert_problem(unknown, 422, "invalid_request")["errors"][0]["pointer"] == "/done/0"


def test_progress_goes_by_own_rules_as_they_were_and_comparisons_know_them(
    client: httpx.Client, wired: Wiring
) -> None:
    player = new_player(client)
    sides = [
        analysed(client, wired, new_session(client, player, kind, days), kind.encode() * 100)
        for kind, days in (("baseline", 8), ("acquisition", 1))
    ]
    rules = made(send(client, OWN))
    named = {"rules_id": rules["id"], "message": "Kept well: go on."}
    compared = {"film": False} | {
        side: {"label": side, "analyses": [analysis]}
        for side, analysis in zip(("first", "second"), sides, strict=True)
    }
    made(client.post("/v1/comparisons", json=compared | named))
    asked = made(client.post(f"/v1/players/{player}/progress", json=named))
    client.delete(rules["links"]["self"])
    entry.work(wired, attempt_at(asked["id"], 1))
    done = client.get(asked["links"]["self"]).json()
    assert done["status"] == "completed"
    assert "Kept well: go on." in client.get(done["links"]["report.html"]).text
    assert_problem(client.post("/v1/comparisons", json=compared | named), 404, "not_found")
    gone = client.post(f"/v1/players/{player}/progress", json=named)
    assert_problem(gone, 404, "not_found")
