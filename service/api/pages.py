"""Pages for people and tools, open to all and complete without any other host: the API
description, one page a problem type, the JSON Schemas.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from models.contract.errors import NotFound, ServewrightError, all_errors
from models.contract.note_codes import NoteCode, say
from models.contract.schemas import DOCUMENTS, EARLIER, rendered
from service.api.conditional import tag_of
from service.api.openapi import document
from service.api.preconditions import not_modified
from service.api.routing import get_and_head

router = APIRouter(include_in_schema=False)
CSP = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
CACHED = "public, max-age=300"
MANY = 20
"""Of more values than these, a page shows the count, and the list when it is asked for."""
_environment = Environment(
    loader=PackageLoader("service.api", "templates"),
    autoescape=select_autoescape(),
    trim_blocks=True,
    lstrip_blocks=True,
)


_PAGE = {"content-security-policy": CSP}


def written(template: str, **values: Any) -> str:
    """Return a page of the API's own as HTML."""
    return _environment.get_template(template).render(**values)


def _page(template: str, **values: Any) -> HTMLResponse:
    html = written(template, **values)
    return HTMLResponse(html, headers=_PAGE | {"cache-control": CACHED})


def _sent(request: Request, body: bytes, media_type: str, headers: dict[str, str]) -> Response:
    """Return what does not change while the service runs, or 304 to who has it already."""
    sent = {"etag": tag_of(body), "cache-control": CACHED, **headers}
    if not_modified(request, sent["etag"]):
        return Response(status_code=304, headers=sent)
    return Response(body, media_type=media_type, headers=sent)


def problem_types() -> dict[str, type[ServewrightError]]:
    """Return every problem code with its class."""
    found: list[type[ServewrightError]] = [ServewrightError, *all_errors()]
    return {cls.code: cls for cls in found}


@get_and_head(router, "/")
async def start() -> RedirectResponse:
    """Lead to the API description."""
    return RedirectResponse("/docs")


@get_and_head(router, "/problems")
async def problems() -> HTMLResponse:
    """List the problem types."""
    return _page("problems.html", types=sorted(problem_types().items()))


@get_and_head(router, "/problems/{code}")
async def problem(code: str) -> HTMLResponse:
    """Explain one problem type."""
    cls = problem_types().get(code)
    if cls is None:
        raise NotFound(say(NoteCode.PROBLEM_TYPE_UNKNOWN))
    return _page("problem.html", code=code, title=cls.title, status=cls.status, text=cls.advice())


@get_and_head(router, "/schemas")
async def schemas() -> JSONResponse:
    """List the JSON Schemas."""
    return JSONResponse({"schemas": [f"/schemas/{name}" for name in (*DOCUMENTS, *EARLIER)]})


@get_and_head(router, "/schemas/{name}")
async def schema(request: Request, name: str) -> Response:
    """Return one JSON Schema, exactly as committed."""
    if name not in DOCUMENTS and name not in EARLIER:
        raise NotFound(say(NoteCode.SCHEMA_UNKNOWN))
    return _sent(request, rendered(name).encode(), "application/schema+json", {})


@get_and_head(router, "/openapi.json")
def openapi(request: Request) -> Response:
    """Return the OpenAPI document."""
    return _sent(request, request.app.state.pages["openapi"](), "application/json", {})


@get_and_head(router, "/docs")
def docs(request: Request) -> Response:
    """Return the API description as a page."""
    return _sent(request, request.app.state.pages["docs"](), "text/html; charset=utf-8", _PAGE)


def made_once(app: FastAPI) -> dict[str, Callable[[], bytes]]:
    """Return what makes the API description, as a page and for tools: once for an application."""

    @cache
    def docs() -> bytes:
        return _environment.get_template("docs.html").render(**contents(app)).encode()

    @cache
    def openapi() -> bytes:
        return json.dumps(document(app), ensure_ascii=False, separators=(",", ":")).encode()

    return {"docs": docs, "openapi": openapi}


def contents(app: FastAPI) -> dict[str, Any]:
    """Return what the API page shows."""
    spec = document(app)
    groups: dict[str, list[dict[str, Any]]] = {tag["name"]: [] for tag in spec["tags"]}
    for path, item in spec["paths"].items():
        for method, operation in item.items():
            entry = {"method": method.upper(), "path": path, **operation}
            groups[operation["tags"][0]].append(entry)
    return {
        "spec": spec,
        "groups": [(tag, groups[tag["name"]]) for tag in spec["tags"]],
        "hooks": spec.get("webhooks", {}),
        "schemas": spec["components"]["schemas"],
        "documents": list(DOCUMENTS),
    }


def _type_of(schema: Any) -> Markup:
    """Say in a few words what a schema allows, with links to named ones."""
    if not isinstance(schema, dict) or not schema:
        return Markup("anything")
    if "$ref" in schema:
        name = str(schema["$ref"]).rsplit("/", 1)[-1]
        return Markup('<a href="#schema-{0}">{0}</a>').format(name)
    for key in ("anyOf", "oneOf"):
        if key in schema:
            return Markup(" or ").join(_type_of(part) for part in schema[key])
    if "allOf" in schema:
        return Markup(" and ").join(_type_of(part) for part in schema["allOf"])
    if "const" in schema:
        return Markup("<code>{}</code>").format(schema["const"])
    if "enum" in schema:
        return _one_of(schema["enum"])
    kind = schema.get("type", "anything")
    if kind == "array":
        return Markup("list of ") + _type_of(schema.get("items", {}))
    if kind == "object" and isinstance(schema.get("additionalProperties"), dict):
        return Markup("map to ") + _type_of(schema["additionalProperties"])
    return Markup("{}").format(kind) + _limits(schema)


def _one_of(values: Sequence[object]) -> Markup:
    """List the values; many of them only when asked for, so that they do not bury the rest."""
    listed = Markup(" | ").join(Markup("<code>{}</code>").format(v) for v in values)
    if len(values) <= MANY:
        return listed
    summary = Markup("<summary>one of {} names</summary>").format(len(values))
    return Markup("<details>{}{}</details>").format(summary, listed)


def _limits(schema: dict[str, Any]) -> Markup:
    words = {
        "format": "{}",
        "minimum": "≥ {}",
        "exclusiveMinimum": "> {}",
        "maximum": "≤ {}",
        "exclusiveMaximum": "< {}",
        "minLength": "at least {} characters",
        "maxLength": "at most {} characters",
        "pattern": "matches {}",
    }
    said = [
        text.format(schema[key])
        for key, text in words.items()
        if key in schema and (key, schema[key]) != ("minLength", 1)
    ]
    return Markup(" ({})").format(", ".join(said)) if said else Markup("")


def _inline(text: str) -> Markup:
    """Set what stands between backticks as code; everything else as text."""
    parts = text.replace("``", "`").split("`")
    return Markup("").join(
        Markup("<code>{}</code>" if index % 2 else "{}").format(part)
        for index, part in enumerate(parts)
    )


def _prose(text: str) -> Markup:
    """Set paragraphs."""
    paragraphs = [part for part in text.split("\n\n") if part.strip()]
    return Markup("").join(Markup("<p>{}</p>").format(_inline(part)) for part in paragraphs)


def _resolve(app_spec: dict[str, Any], response: dict[str, Any]) -> dict[str, Any]:
    """Follow a reference to a shared response."""
    if "$ref" not in response:
        return response
    found: dict[str, Any] = app_spec["components"]["responses"][response["$ref"].rsplit("/", 1)[-1]]
    return found


_environment.filters |= {"type_of": _type_of, "inline": _inline, "prose": _prose}
_environment.globals["resolve"] = _resolve
