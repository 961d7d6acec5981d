"""The API description: valid OpenAPI 3.1, as committed, with examples that hold."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
from fastapi import FastAPI
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from models.contract.schemas import DOCUMENTS, EARLIER, SCHEMA_DIR
from service.api.describe import COMMITTED
from service.api.named_schemas import shape


def test_committed_document_is_the_served_one(anonymous: httpx.Client) -> None:
    served = anonymous.get("/openapi.json").json()
    assert json.loads(COMMITTED.read_text("utf-8")) == served, (
        "the API changed: run python -m service.api.describe --write"
    )


def test_document_is_valid_openapi_3_1(app: FastAPI) -> None:
    spec = app.openapi()
    assert spec["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(spec).validate()


def operations(spec: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [(m, p, op) for p, item in spec["paths"].items() for m, op in item.items()]


def test_each_operation_is_named_once_described_and_secured(app: FastAPI) -> None:
    spec = app.openapi()
    names = [op["operationId"] for _, _, op in operations(spec)]
    assert len(names) == len(set(names))
    for _, path, operation in operations(spec):
        assert operation["summary"]
        assert operation["description"]
        assert bool(operation.get("security")) == (path.startswith("/v1") or path == "/metrics")
        for code, response in operation["responses"].items():
            if code[0] in "45" and code != "503":
                assert response == {"$ref": f"#/components/responses/{code}"}
    assert "HTTPValidationError" not in spec["components"]["schemas"]
    assert set(spec["components"]["securitySchemes"]) == {"ApiKey"}


def test_events_are_described(app: FastAPI) -> None:
    spec = app.openapi()
    body = spec["webhooks"]["event"]["post"]["requestBody"]["content"]["application/json"]
    assert body["schema"] == {"$ref": "#/components/schemas/WebhookEvent"}


def test_examples_fit_their_schemas(app: FastAPI) -> None:
    spec = app.openapi()
    checked = 0
    for _, _, operation in operations(spec):
        medias = [*operation.get("requestBody", {}).get("content", {}).values()]
        for response in operation["responses"].values():
            medias += response.get("content", {}).values()
        for media in medias:
            for example in media.get("examples", {}).values():
                schema = {**media["schema"], "components": spec["components"]}
                Draft202012Validator(schema).validate(example["value"])
                checked += 1
    assert checked >= 12


def nameless(node: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Shape and place of the objects and lists of values that have no name of their own."""
    if isinstance(node, list):
        for index, one in enumerate(node):
            yield from nameless(one, f"{path}/{index}")
    elif isinstance(node, dict):
        named = path.startswith("/components/schemas/") and path.count("/") == 3
        if not named and (node.get("type") == "object" or "enum" in node):
            yield json.dumps(shape(node), sort_keys=True), path
        for key, value in node.items():
            if key not in ("examples", "properties"):
                yield from nameless(value, f"{path}/{key}")
        for key, value in node.get("properties", {}).items():
            yield from nameless(value, f"{path}/properties/{key}")


def test_no_shape_without_a_name_stands_twice(app: FastAPI) -> None:
    """A code generator makes a type of each, which differ in name only."""
    places = defaultdict(list)
    for found, path in nameless(app.openapi()):
        places[found].append(path)
    assert [where for where in places.values() if len(where) > 1] == []
    assert places  # those that stand once are left


def test_schema_names_are_words_and_each_stands_for_one_thing(app: FastAPI) -> None:
    schemas = app.openapi()["components"]["schemas"]
    assert [name for name in schemas if not re.fullmatch("(?:[A-Z][a-z]*)+", name)] == []
    shapes = defaultdict(list)
    for name, schema in schemas.items():
        shapes[json.dumps(shape(schema), sort_keys=True)].append(name)
    # A player's session and a webhook's data may look alike one day; values by name never do.
    assert [names for names in shapes.values() if len(names) > 1] == []


def test_files_are_told_in_both_ways(app: FastAPI) -> None:
    """OpenAPI 3.1.0, 4.8.14.4, and the ``format: binary`` of 3.0.3, 4.7.14.1."""
    spec = app.openapi()
    files = set()
    for _, _, operation in operations(spec):
        contents = [operation.get("requestBody", {}).get("content", {})]
        contents += [response.get("content", {}) for response in operation["responses"].values()]
        for content in contents:
            for kind, media in content.items():
                if kind.startswith(("video/", "image/")) or kind == "application/octet-stream":
                    assert media["schema"]["format"] == "binary"
                    assert media["schema"]["contentMediaType"] == kind
                    files.add(operation["operationId"])
    assert {"send_clip", "read_clip_content", "read_picture", "read_joints_arrays"} <= files
    sent = spec["components"]["schemas"]["FilmForm"]["properties"]["file"]
    assert (sent["format"], sent["contentMediaType"]) == ("binary", "video/mp4")


def test_schemas_are_served_as_committed(anonymous: httpx.Client) -> None:
    listed = anonymous.get("/schemas").json()["schemas"]
    assert listed == [f"/schemas/{name}" for name in (*DOCUMENTS, *EARLIER)]
    for address in listed:
        reply = anonymous.get(address)
        assert reply.headers["content-type"] == "application/schema+json"
        assert reply.text == (SCHEMA_DIR / Path(address).name).read_text("utf-8")
        tag = {"if-none-match": reply.headers["etag"]}
        assert anonymous.get(address, headers=tag).status_code == 304
