"""What HTTP asks of every address: methods, preconditions, encodings, pages of other origins."""

from __future__ import annotations

import gzip
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from pydantic import ValidationError

from service.api.app import create_app
from service.api.compression import LEAST_BYTES, accepts_gzip
from service.core.settings import Settings
from tests.integration.api.coaching import new_player, new_session
from tests.integration.api.conftest import TestClient, assert_problem, film

IDS = {"clip_id": "clip", "analysis_id": "ana", "player_id": "ply", "session_id": "ses"} | {
    "rules_id": "rul",
    "endpoint_id": "whe",
    "event_id": "evt",
    "organisation_id": "org",
}


def addresses(app: FastAPI) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every path of the document, with names filled in, and its operations."""
    for path, item in app.openapi()["paths"].items():
        prefix = {"comparisons": "cmp", "drill-checks": "drl", "progress": "prg", "plans": "pln"}
        document = next((p for word, p in prefix.items() if f"/{word}/" in path), "")
        names = {name: f"{kind}_{'0' * 32}" for name, kind in IDS.items()}
        names |= {"document_id": f"{document}_{'0' * 32}", "key_id": "0" * 16}
        names |= {"language": "de", "name": "a.png"}
        yield re.sub(r"\{(\w+)\}", lambda match, names=names: names.get(match[1], "x"), path), item


def test_every_address_tells_its_methods_and_knows_no_others(
    client: httpx.Client, app: FastAPI
) -> None:
    known = [(path, item) for path, item in addresses(app) if not path.startswith(BY_TOKEN)]
    paths = [*known, *((path, {"get": {}}) for path in PAGES)]
    assert len(paths) > 50
    for path, item in paths:
        wanted = {method.upper() for method in item} | {"OPTIONS"}
        wanted |= {"HEAD"} if "get" in item else set()
        options = client.options(path)
        assert (options.status_code, options.content) == (204, b""), path
        assert set(options.headers["allow"].split(", ")) == wanted, path
        refused = client.request("POST" if "PUT" in wanted else "PUT", path)
        assert_problem(refused, 405, "method_not_allowed")
        assert refused.headers["allow"] == options.headers["allow"]


BY_TOKEN = ("/i/", "/s/")
"""Without a known token these addresses do not exist."""
PAGES = ("/", "/docs", "/openapi.json", "/problems", "/problems/not_found", "/schemas", "/livez")


def test_head_is_get_without_the_body(client: httpx.Client, app: FastAPI) -> None:
    for path in (*PAGES, "/readyz", *(path for path, item in addresses(app) if "get" in item)):
        got, head = client.get(path), client.head(path)
        assert head.status_code == got.status_code, path
        assert head.content == b""
        names = {"content-type", "etag", "content-encoding", "link", "cache-control"}
        if path == "/v1/audit":  # each call writes a line into it, so that pages move on
            names -= {"link"}
        for name in names:
            assert head.headers.get(name) == got.headers.get(name), (path, name)


def test_options_needs_a_key_below_v1(anonymous: httpx.Client) -> None:
    assert_problem(anonymous.options("/v1/clips"), 401, "unauthenticated")


# RFC 9110 13.1.1, 13.1.2: If-Match compares strongly, If-None-Match weakly; lists and "*".
READING: list[tuple[dict[str, str], int]] = [
    ({"if-match": "{tag}"}, 200),
    ({"if-match": '"x", {tag}'}, 200),
    ({"if-match": "*"}, 200),
    ({"if-match": "W/{tag}"}, 412),
    ({"if-match": '"x"'}, 412),
    ({"if-match": "x"}, 412),
    ({"if-none-match": "{tag}"}, 304),
    ({"if-none-match": 'W/"x", W/{tag}'}, 304),
    ({"if-none-match": "*"}, 304),
    ({"if-none-match": '"x"'}, 200),
    ({"if-match": '"x"', "if-none-match": "{tag}"}, 412),
    ({"if-match": "{tag}", "if-none-match": "{tag}"}, 304),
]


def test_preconditions_of_reading(client: httpx.Client) -> None:
    client.headers["accept-encoding"] = "identity"
    player = new_player(client)
    rules = client.post(
        "/v1/practice-rules", content="name: mine\n", headers={"content-type": "application/yaml"}
    ).json()["links"]
    for address in (f"/v1/players/{player}", rules["self"], rules["file"], "/v1/words/de"):
        tag = client.get(address).headers["etag"]
        for fields, status in READING:
            for method in ("GET", "HEAD"):
                headers = {name: text.format(tag=tag) for name, text in fields.items()}
                reply = client.request(method, address, headers=headers)
                assert reply.status_code == status, (address, headers)
                if status == 304:
                    assert reply.headers["etag"] == tag


def test_several_lines_of_a_field_are_one_list(client: httpx.Client) -> None:
    address = f"/v1/players/{new_player(client)}"
    tag = client.get(address).headers["etag"]
    lines = [("if-none-match", '"x"'), ("if-none-match", tag)]
    assert client.get(address, headers=lines).status_code == 304


def erasable(client: httpx.Client) -> dict[str, str]:
    """Return addresses of one of each thing that can be erased."""
    player = new_player(client)
    session = new_session(client, player, "baseline", 1)
    clip = client.post("/v1/clips", files={"file": ("a.mp4", film(), "video/mp4")}).json()
    hook = client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a"}).json()
    rules = client.post(
        "/v1/practice-rules", content="name: mine\n", headers={"content-type": "application/yaml"}
    ).json()
    key = client.post("/v1/api-keys", json={"name": "k", "scopes": ["clips:read"]}).json()
    other = client.post("/v1/clips", files={"file": ("b.mp4", film(b"2"), "video/mp4")}).json()
    analysis = client.post("/v1/analyses", json={"clip_id": other["id"]}).json()
    return {
        "session": f"/v1/players/{player}/sessions/{session}",
        "player": f"/v1/players/{player}",
        "clip": clip["links"]["self"],
        "analysis": analysis["links"]["self"],
        "endpoint": hook["links"]["self"],
        "rules": rules["links"]["self"],
        "key": f"/v1/api-keys/{key['id']}",
    }


def test_what_was_changed_since_is_not_erased(client: httpx.Client) -> None:
    for kind, address in erasable(client).items():
        tag = client.get(address).headers["etag"]
        for fields in ({"if-match": '"before"'}, {"if-match": f"W/{tag}"}, {"if-none-match": "*"}):
            assert_problem(client.delete(address, headers=fields), 412, "precondition_failed")
        assert client.get(address).status_code == 200, kind
        assert client.delete(address, headers={"if-match": tag}).is_success
        assert kind == "key" or client.get(address).status_code == 404


def test_a_change_needs_the_state_it_is_of(client: httpx.Client) -> None:
    address = f"/v1/players/{new_player(client)}"
    tag = client.get(address).headers["etag"]
    body = {"notes": "a"}
    assert_problem(client.patch(address, json=body), 428, "precondition_required")
    for wrong in ('"x"', f"W/{tag}", "x"):
        reply = client.patch(address, json=body, headers={"if-match": wrong})
        assert_problem(reply, 412, "precondition_failed")
    both = {"if-match": tag, "if-none-match": tag}
    assert_problem(client.patch(address, json=body, headers=both), 412, "precondition_failed")
    assert client.patch(address, json=body, headers={"if-match": f'"x", {tag}'}).status_code == 200
    assert client.patch(address, json=body, headers={"if-match": tag}).status_code == 412
    assert client.patch(address, json=body, headers={"if-match": "*"}).status_code == 200


@pytest.mark.parametrize(
    ("header", "wanted"),
    [  # RFC 9110 12.5.3
        ("gzip", True),
        ("deflate, gzip;q=0.5", True),
        ("GZIP", True),
        ("x-gzip", True),
        ("*", True),
        ("", False),
        ("identity", False),
        ("br, zstd", False),
        ("gzip;q=0", False),
        ("*;q=0", False),
        ("gzip;q=0, *", False),
        ("gzip;q=high", False),
    ],
)
def test_who_accepts_gzip(header: str, wanted: bool) -> None:
    assert accepts_gzip(header) is wanted


def test_long_text_is_sent_in_gzip_with_a_tag_of_its_own(
    client: httpx.Client, completed: dict[str, bytes], analysis_id: str
) -> None:
    plain = {"accept-encoding": "identity"}
    texts = ["/docs", "/openapi.json", "/v1/words/de", f"/v1/analyses/{analysis_id}/result"]
    for address in texts:
        whole = client.get(address, headers=plain)
        assert len(whole.content) >= LEAST_BYTES
        assert "content-encoding" not in whole.headers
        with client.stream("GET", address, headers={"accept-encoding": "gzip"}) as packed:
            raw = b"".join(packed.iter_raw())
        assert gzip.decompress(raw) == whole.content
        assert len(raw) < len(whole.content)
        assert packed.headers["content-encoding"] == "gzip"
        assert "accept-encoding" in packed.headers["vary"].lower()
        assert "accept-encoding" in whole.headers["vary"].lower()
        tag = packed.headers["etag"]
        assert tag != whole.headers["etag"]
        again = client.get(address, headers={"if-none-match": tag, "accept-encoding": "gzip"})
        assert (again.status_code, again.headers["etag"]) == (304, tag)
        assert client.get(address, headers={"if-match": tag}).status_code == 200
        assert client.get(address, headers={"if-match": whole.headers["etag"]}).status_code == 200


def test_what_is_short_packed_or_a_part_is_sent_as_it_is(
    client: httpx.Client, completed: dict[str, bytes], analysis_id: str
) -> None:
    asked = {"accept-encoding": "gzip"}
    content = film(b"0" * 5000)
    clip = client.post("/v1/clips", files={"file": ("a.mp4", content, "video/mp4")}).json()
    address = f"/v1/analyses/{analysis_id}"
    for path in (clip["links"]["content"], f"{address}/joints.npz", "/livez"):
        reply = client.get(path, headers=asked)
        assert "content-encoding" not in reply.headers, path
    part = client.get(f"{address}/result", headers={**asked, "range": "bytes=0-1999"})
    assert part.status_code == 206
    assert part.content == completed["result"][:2000]
    tag = hashlib.sha256(completed["result"]).hexdigest()
    assert part.headers["etag"] == f'"{tag}"'
    mixed = {**asked, "range": "bytes=0-1999", "if-range": f'"{tag}-gzip"'}
    assert client.get(f"{address}/result", headers=mixed).status_code == 200


def test_a_tag_read_in_gzip_is_good_for_a_change(client: httpx.Client) -> None:
    player = new_player(client, notes="n" * 2000)
    address = f"/v1/players/{player}"
    tag = client.get(address, headers={"accept-encoding": "gzip"}).headers["etag"]
    assert tag.endswith('-gzip"')
    changed = client.patch(address, json={"notes": "m" * 2000}, headers={"if-match": tag})
    assert changed.status_code == 200
    assert client.patch(address, json={"notes": None}, headers={"if-match": tag}).status_code == 412


ORIGIN = "https://club.example.org"


@pytest.fixture
def open_client(settings: Settings) -> Iterator[httpx.Client]:
    """Return a client of an API that pages of one origin may call."""
    app = create_app(settings.model_copy(update={"cors_origins": (ORIGIN,)}))
    with TestClient(app, raise_server_exceptions=False) as client:
        client.headers["authorization"] = f"Bearer {app.state.wiring.keys.add('page')}"
        yield client


def test_pages_of_a_named_origin_may_call(open_client: httpx.Client) -> None:
    asks = {
        "origin": ORIGIN,
        "access-control-request-method": "PATCH",
        "access-control-request-headers": "authorization, content-type, if-match, idempotency-key",
    }
    del open_client.headers["authorization"]  # a browser asks first without it
    answer = open_client.options("/v1/players", headers=asks)
    assert answer.status_code == 200
    assert answer.headers["access-control-allow-origin"] == ORIGIN
    assert "PATCH" in answer.headers["access-control-allow-methods"]
    assert "if-match" in answer.headers["access-control-allow-headers"].lower()
    assert "access-control-allow-credentials" not in answer.headers
    refused = open_client.get("/v1/players", headers={"origin": ORIGIN})
    assert_problem(refused, 401, "unauthenticated")
    assert refused.headers["access-control-allow-origin"] == ORIGIN  # scripts can read why
    exposed = refused.headers["access-control-expose-headers"].lower()
    for name in ("etag", "location", "retry-after", "link", "content-range", "upload-offset"):
        assert name in exposed
    assert "origin" in refused.headers["vary"].lower()


@pytest.mark.parametrize("origin", ["https://other.example.org", "http://club.example.org", "null"])
def test_pages_of_other_origins_may_not(open_client: httpx.Client, origin: str) -> None:
    asks = {"origin": origin, "access-control-request-method": "GET"}
    for answer in (
        open_client.options("/v1/players", headers=asks),
        open_client.get("/v1/players", headers={"origin": origin}),
    ):
        assert "access-control-allow-origin" not in answer.headers


def test_no_origin_may_call_unless_set(client: httpx.Client) -> None:
    asks = {"origin": ORIGIN, "access-control-request-method": "GET"}
    for method in ("OPTIONS", "GET"):
        answer = client.request(method, "/v1/players", headers=asks)
        assert not [name for name in answer.headers if name.startswith("access-control")]


@pytest.mark.parametrize(
    "wrong", ["*", "null", "club.example.org", "https://club.example.org/", "https://Club.example"]
)
def test_origins_are_written_as_browsers_do(wrong: str, tmp_path: Path) -> None:
    with pytest.raises(ValidationError, match="is no origin"):
        Settings(data_dir=tmp_path, cors_origins=(wrong,))
