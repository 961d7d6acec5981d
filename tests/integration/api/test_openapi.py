"""The API description: valid OpenAPI 3.1, as committed, with examples that hold."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx
from fastapi import FastAPI
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from models.contract.schemas import DOCUMENTS, EARLIER, SCHEMA_DIR
from service.api.describe import COMMITTED


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
        assert bool(operation.get("security")) == path.startswith("/v1")
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


def test_schemas_are_served_as_committed(anonymous: httpx.Client) -> None:
    listed = anonymous.get("/schemas").json()["schemas"]
    assert listed == [f"/schemas/{name}" for name in (*DOCUMENTS, *EARLIER)]
    for address in listed:
        reply = anonymous.get(address)
        assert reply.headers["content-type"] == "application/schema+json"
        assert reply.text == (SCHEMA_DIR / Path(address).name).read_text("utf-8")
        tag = {"if-none-match": reply.headers["etag"]}
        assert anonymous.get(address, headers=tag).status_code == 304
