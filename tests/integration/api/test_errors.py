"""Every error has one shape, whoever raises it, and its type leads to a page."""

from __future__ import annotations

import ast
import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from models.contract import errors
from models.contract.errors import DatabaseUnavailable, ObjectStoreUnavailable
from models.contract.metrics.catalogue import CATALOGUE
from models.words import catalogue
from service.api.pages import problem_types
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem

UNKNOWN_CLIP = "clip_" + "0" * 32
UNKNOWN_ANALYSIS = "ana_" + "0" * 32
UNKNOWN_ENDPOINT = "whe_" + "0" * 32


FRAMEWORK_AND_ROUTES = [
    ("GET", "/nowhere", 404, "not_found"),
    ("GET", "/v1/nowhere", 404, "not_found"),
    ("GET", "/v1/", 404, "not_found"),
    ("GET", "/problems/nowhere", 404, "not_found"),
    ("GET", "/schemas/nowhere.json", 404, "not_found"),
    ("PUT", "/v1/clips", 405, "method_not_allowed"),
    ("DELETE", "/livez", 405, "method_not_allowed"),
    ("GET", f"/v1/clips/{UNKNOWN_CLIP}", 404, "not_found"),
    ("GET", f"/v1/clips/{UNKNOWN_CLIP}/content", 404, "not_found"),
    ("DELETE", f"/v1/clips/{UNKNOWN_CLIP}", 404, "not_found"),
    ("POST", f"/v1/clips/{UNKNOWN_CLIP}/complete", 404, "not_found"),
    ("GET", "/v1/clips/strange", 422, "invalid_request"),
    ("GET", f"/v1/analyses/{UNKNOWN_ANALYSIS}", 404, "not_found"),
    ("GET", f"/v1/analyses/{UNKNOWN_ANALYSIS}/result", 404, "not_found"),
    ("GET", f"/v1/analyses/{UNKNOWN_ANALYSIS}/pictures/a.png", 404, "not_found"),
    ("POST", f"/v1/analyses/{UNKNOWN_ANALYSIS}/cancel", 404, "not_found"),
    ("GET", "/v1/analyses/..%2f..%2fetc", 404, "not_found"),
    ("GET", "/v1/analyses?status=strange", 422, "invalid_request"),
    ("GET", "/v1/analyses?limit=0", 422, "invalid_request"),
    ("GET", "/v1/analyses?limit=101", 422, "invalid_request"),
    ("GET", "/v1/analyses?cursor=made-up", 400, "invalid_cursor"),
    ("GET", f"/v1/webhook-endpoints/{UNKNOWN_ENDPOINT}", 404, "not_found"),
    ("DELETE", f"/v1/webhook-endpoints/{UNKNOWN_ENDPOINT}", 404, "not_found"),
    ("POST", f"/v1/webhook-endpoints/{UNKNOWN_ENDPOINT}/test", 404, "not_found"),
    ("DELETE", "/v1/api-keys/0000000000000000", 404, "not_found"),
]


def test_framework_and_route_errors(client: httpx.Client) -> None:
    for method, path, status, code in FRAMEWORK_AND_ROUTES:
        assert_problem(client.request(method, path), status, code)


def test_allow_header_of_a_wrong_method(client: httpx.Client) -> None:
    allowed = client.put("/v1/clips").headers["allow"]
    assert "GET" in allowed or "POST" in allowed


JSON_BODIES: list[tuple[bytes, str | None, int, str]] = [
    (b"{", "application/json", 400, "malformed_request"),
    (b"\xff\xfe", "application/json", 400, "malformed_request"),
    (b"", "application/json", 422, "invalid_request"),
    (b"[]", "application/json", 422, "invalid_request"),
    (b"{}", "application/json", 422, "invalid_request"),
    (b"{}", "text/plain", 415, "unsupported_media_type"),
    (b"{}", None, 415, "unsupported_media_type"),
    (b"a=1", "application/x-www-form-urlencoded", 415, "unsupported_media_type"),
]


@pytest.mark.parametrize("path", ["/v1/analyses", "/v1/webhook-endpoints", "/v1/api-keys"])
def test_json_bodies(client: httpx.Client, path: str) -> None:
    for content, content_type, status, code in JSON_BODIES:
        headers = {"content-type": content_type} if content_type else {}
        assert_problem(client.post(path, content=content, headers=headers), status, code)


def test_validation_says_where_and_never_echoes(client: httpx.Client) -> None:
    canary = "jane-canary"
    reply = client.post(
        "/v1/analyses",
        json={"clip_id": canary, "options": {"height_m": canary, canary: 1, "view": canary}},
    )
    body = assert_problem(reply, 422, "invalid_request")
    pointers = {item["pointer"] for item in body["errors"]}
    assert {"/clip_id", "/options/height_m", "/options/view"} <= pointers
    assert canary not in reply.text.replace(f"/options/{canary}", "")


def test_options_out_of_range(client: httpx.Client, clip_id: str) -> None:
    wrong: list[dict[str, object]] = [
        {"height_m": 0.5},
        {"height_m": 3},
        {"azimuth_deg": 360},
        {"capture_fps": 0},
        {"models": []},
        {"models": ["no_such_network"]},
        {"models": ["blazepose_heavy", "movenet_multipose"]},
        {"models": ["movenet_thunder"]},
        {"models": ["blazepose_heavy", "blazepose_full"]},
        {"handedness": "both"},
    ]
    for options in wrong:
        reply = client.post("/v1/analyses", json={"clip_id": clip_id, "options": options})
        problem = assert_problem(reply, 422, "invalid_request")
        assert problem["errors"][0]["pointer"].startswith("/options/")
    assert client.get("/v1/analyses").json()["items"] == []
    chosen = {"models": ["blazepose_full", "movenet_thunder"]}
    accepted = client.post("/v1/analyses", json={"clip_id": clip_id, "options": chosen})
    assert accepted.status_code == 201


def test_not_a_number_is_not_a_number(client: httpx.Client, clip_id: str) -> None:
    body = f'{{"clip_id": "{clip_id}", "options": {{"height_m": NaN}}}}'
    reply = client.post("/v1/analyses", content=body, headers={"content-type": "application/json"})
    assert reply.status_code in (400, 422)


def test_unforeseen_error_is_a_problem_without_details(
    client: httpx.Client, wired: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr(type(wired.clips), "get", broken)
    reply = client.get(f"/v1/clips/{UNKNOWN_CLIP}")
    assert_problem(reply, 500, "internal_error")
    assert "secret detail" not in reply.text


@pytest.mark.parametrize("error", [DatabaseUnavailable, ObjectStoreUnavailable])
def test_absent_dependency_asks_to_come_back(
    client: httpx.Client,
    wired: Wiring,
    monkeypatch: pytest.MonkeyPatch,
    error: type[DatabaseUnavailable],
) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise error()

    monkeypatch.setattr(type(wired.clips), "get", broken)
    reply = client.get(f"/v1/clips/{UNKNOWN_CLIP}")
    assert_problem(reply, 503, error.code)
    assert int(reply.headers["retry-after"]) > 0


def test_request_id_is_taken_over_when_harmless(client: httpx.Client) -> None:
    assert (
        client.get("/livez", headers={"x-request-id": "abc-12345"}).headers["x-request-id"]
        == "abc-12345"
    )
    made = client.get("/livez", headers={"x-request-id": "<script>alert(1)</script>"})
    assert "script" not in made.headers["x-request-id"]


def test_each_problem_type_has_a_page(anonymous: httpx.Client) -> None:
    for code, cls in problem_types().items():
        page = anonymous.get(f"/problems/{code}")
        assert page.status_code == 200
        assert page.headers["content-type"].startswith("text/html")
        assert cls.title in page.text


def test_pages_need_no_other_host(anonymous: httpx.Client) -> None:
    for path in ("/docs", "/problems", "/problems/not_found"):
        page = anonymous.get(path)
        assert page.status_code == 200
        assert "<script" not in page.text
        for mark in ("src=", "@import", "url(", "<link"):
            assert mark not in page.text, f"{path} has {mark}"
        assert "default-src 'none'" in page.headers["content-security-policy"]


def test_docs_show_every_operation(anonymous: httpx.Client, app: FastAPI) -> None:
    page = anonymous.get("/docs").text
    for item in app.openapi()["paths"].values():
        for operation in item.values():
            assert f'<article id="{operation["operationId"]}">' in page


def test_docs_fold_long_lists_of_values(anonymous: httpx.Client) -> None:
    page = anonymous.get("/docs").text
    assert f"<summary>one of {len(CATALOGUE.names)} names</summary>" in page
    assert "<code>rear_foot_load_share@loading</code>" in page
    assert "<code>serve</code> | <code>shadow</code>" in page


def test_links_inside_the_docs_lead_somewhere(anonymous: httpx.Client) -> None:
    import re

    page = anonymous.get("/docs").text
    ids = set(re.findall(r'id="([^"]+)"', page))
    for target in re.findall(r'href="#([^"]+)"', page):
        assert target in ids, target
    for target in set(re.findall(r'href="(/[^"]+)"', page)):
        assert anonymous.get(target).status_code == 200, target


def test_misspelt_filter_is_told(client: httpx.Client) -> None:
    for address in ("/v1/clips?externl_ref=a", "/v1/analyses?statu=failed", "/v1/api-keys?limit=1"):
        assert_problem(client.get(address), 422, "invalid_request")


def test_each_conflict_has_a_code_of_its_own_and_says_what_it_is_about() -> None:
    """Whatever is raised with 409 is a class of its own, given the id that it is about."""
    raised = []
    for file in (*Path("service").rglob("*.py"), *Path("workers").rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                cls = getattr(errors, getattr(node.exc.func, "id", ""), None)
                if isinstance(cls, type) and issubclass(cls, errors.Conflict):
                    raised.append(cls)
                    assert "about" in [one.arg for one in node.exc.keywords], (file, node.lineno)
    assert errors.Conflict not in raised
    assert len(set(raised)) >= 20


def test_a_conflict_names_what_it_is_about(client: httpx.Client) -> None:
    player = client.post("/v1/players", json={"external_id": "a"}).json()["id"]
    problem = assert_problem(
        client.post("/v1/players", json={"external_id": "a"}), 409, "external_id_taken"
    )
    assert problem["about"] == player


PYTHON_WORDS = re.compile(
    r"Value error|Input should|None\b|\bdict|\btuple|\bstr\b|instance of|datetime|parsable|Field re"
)
WRONG: list[tuple[str, Any]] = [
    ("/v1/players", {"external_id": None, "height_m": "tall", "birth_year": 1.5, "sex": 3}),
    ("/v1/players/{player}/sessions", {"kind": "x", "filmed_at": "yesterday", "serve_speed": []}),
    ("/v1/players/{player}/sessions", {"kind": "baseline", "filmed_at": "2026-05-04T09:00:00"}),
    ("/v1/players/{player}/sessions", {"kind": "baseline", "filmed_at": "0001-01-01T00:00:00Z"}),
    ("/v1/players/{player}/plans", {"analyses": "x", "sessions": [1], "language": None}),
    ("/v1/comparisons", {"first": {"label": ""}, "second": 1, "focus": ["elbow"], "film": "?"}),
    ("/v1/comparisons", {"first": {"label": "a"}, "second": {"label": "b"}}),
    ("/v1/drill-checks", {"sessions": ["ses_" + "0" * 32]}),
    ("/v1/analyses", {"options": {"view": 1, "azimuth_deg": 360, "models": []}, "more": 1}),
    ("/v1/webhook-endpoints", {"url": "x", "event_types": ["x"]}),
    ("/v1/webhook-endpoints/whe_" + "0" * 32 + "/replay", {}),
    (
        "/v1/webhook-endpoints/whe_" + "0" * 32 + "/replay",
        {"created_from": "2026-05-04T09:00:00Z", "created_before": "2026-05-03T09:00:00Z"},
    ),
    ("/v1/api-keys", {"name": "", "scopes": ["x"], "expires_in_days": 0}),
    ("/v1/players", [1, 2]),
]


@pytest.mark.parametrize("language", ["en", "de"])
def test_reasons_are_words_for_people(client: httpx.Client, language: str) -> None:
    player = client.post("/v1/players", json={"external_id": "a"}).json()["id"]
    headers = {"accept-language": language}
    other = catalogue(language)("field.other")
    for path, body in WRONG:
        reply = client.post(path.format(player=player), json=body, headers=headers)
        problem = assert_problem(reply, 422, "invalid_request")
        assert problem["errors"], path
        for error in problem["errors"]:
            assert not PYTHON_WORDS.search(error["detail"]), error
            assert error["detail"] != other, error
        if language == "de":
            assert not re.search(r"\b(is|must|the|expected)\b", str(problem["errors"]))


def test_a_session_is_not_filmed_in_the_future(client: httpx.Client) -> None:
    player = client.post("/v1/players", json={"external_id": "a"}).json()["id"]
    path = f"/v1/players/{player}/sessions"
    now = datetime.now(UTC)
    body = {"kind": "baseline", "filmed_at": (now + timedelta(days=1)).isoformat()}
    problem = assert_problem(client.post(path, json=body), 422, "invalid_request")
    assert problem["errors"][0]["pointer"] == "/filmed_at"
    assert problem["detail_code"] == "filmed_in_future"
    elsewhere = timezone(timedelta(hours=14))  # the same moment, written as tomorrow
    body["filmed_at"] = now.astimezone(elsewhere).isoformat()
    made = client.post(path, json=body)
    assert made.status_code == 201
    tag = {"if-match": made.headers["etag"]}
    later = {"filmed_at": (now + timedelta(hours=1)).isoformat()}
    assert client.patch(made.json()["links"]["self"], json=later, headers=tag).status_code == 422


def test_the_api_page_is_rendered_once(
    anonymous: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = anonymous.get("/docs")
    monkeypatch.setattr("service.api.pages.contents", None)
    again = anonymous.get("/docs")
    assert again.content == first.content
    tag = {"if-none-match": first.headers["etag"]}
    assert anonymous.get("/docs", headers=tag).status_code == 304


def test_only_films_are_to_be_trimmed(client: httpx.Client, wired: Wiring) -> None:
    text = "x" * (wired.settings.max_body_bytes + 1)
    sent = {"content-type": "application/json"}
    problem = assert_problem(
        client.post("/v1/players", content=text, headers=sent), 413, "payload_too_large"
    )
    assert "film" not in problem["detail"].lower()
    stated = {"content-type": "video/mp4", "content-length": str(10**12)}
    film = client.post("/v1/clips", content=b"x", headers=stated)
    assert "Trim" in assert_problem(film, 413, "payload_too_large")["detail"]
