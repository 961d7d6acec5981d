"""The OpenAPI 3.1 document: what the framework writes, with its errors put right."""

from __future__ import annotations

import copy
from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi

from models.contract.problem import Problem
from models.contract.webhook import WebhookEvent
from service.api import account_examples, coaching_examples, examples
from service.api.call_notes import add_notes, scopes
from service.api.document_links import add_links
from service.api.file_bodies import SCHEMAS, file_schema
from service.api.middleware import PROTECTED
from service.api.named_schemas import name_shapes
from service.api.problems import MEDIA_TYPE
from service.core.settings import Settings

REQUEST_EXAMPLES = (
    examples.REQUEST_EXAMPLES
    | coaching_examples.REQUEST_EXAMPLES
    | account_examples.REQUEST_EXAMPLES
)
RESPONSE_EXAMPLES = examples.RESPONSE_EXAMPLES | coaching_examples.RESPONSE_EXAMPLES
VERSION = "1.0.0"
DESCRIPTION = """\
Send a film of a tennis serve, start an analysis, follow it by its address or by webhook, fetch the
measured serve mechanics.

Every call below `/v1` needs an API key (`Authorization: Bearer sw_…`). Errors are RFC 9457 problem
documents; each `type` leads to a page that says what to do, in the language of `Accept-Language`
(`en` or `de`). Reasons and notes in documents are codes with parameters; `GET /v1/words/de` gives
their wording. Lists are paged by `cursor`; what is read
carries a strong entity tag and answers conditional requests (RFC 9110), files byte ranges too;
text of 1 KiB and more comes in gzip to who accepts it. `OPTIONS` tells the methods of an
address.

Values are estimates from film, with intervals. They are not medical advice: stop on pain, and ask a
licensed practitioner before changing load or technique after an injury.
"""
TAGS = [
    {"name": "clips", "description": "Films of serves."},
    {
        "name": "analyses",
        "description": "Measurements made from a film or from joints, and their results.",
    },
    {"name": "players", "description": "Players, and the sessions in which they were filmed."},
    {
        "name": "coaching",
        "description": "Documents made from analyses: comparison, progress, practice plan, drill "
        "check; the rules behind plans.",
    },
    {"name": "erasures", "description": "What was erased: how far it is, and the receipt."},
    {
        "name": "links",
        "description": "Addresses that work without a key: films come in, results are read.",
    },
    {"name": "words", "description": "The wording of codes, by language."},
    {"name": "webhooks", "description": "Where events are sent."},
    {"name": "keys", "description": "API keys."},
    {
        "name": "organisations",
        "description": "Whoever has players, films and keys of their own; limits and usage.",
    },
    {
        "name": "operations",
        "description": "For those who run the installation: its state, metrics, work of all.",
    },
    {"name": "health", "description": "For load balancers and operators."},
]
_ONE_OR_NONE = ("/v1/branding/logo",)
"""What an organisation has once, or not."""
_METHODS = ("get", "post", "put", "patch", "delete")
_TITLES = {
    "400": "The request cannot be read.",
    "401": "The API key is missing or not valid.",
    "403": "The API key lacks the scope, or a limit of the organisation is reached.",
    "404": "There is nothing under that id.",
    "409": "The resource is in a state that does not allow this.",
    "410": "What was here has ended.",
    "412": "The resource has changed since you read it.",
    "413": "The body is too large.",
    "415": "The body is of another media type.",
    "416": "The range lies outside the file.",
    "422": "Values are not valid; errors says which.",
    "428": "If-Match is required.",
    "429": "Too many requests; see Retry-After.",
    "460": "The part was damaged on the way.",
    "500": "Something went wrong inside the service.",
    "503": "A part of the service is unavailable; see Retry-After.",
}
_SUCCESS = {"200": "Done.", "201": "Created.", "202": "Accepted.", "204": "Gone; no body."}
_RANGED = (
    "/content",
    "/result",
    "/joints",
    "/joints.npz",
    "/events",
    "/metrics",
    "/report.html",
    "/film.mp4",
    "/{name}",
)
_CONDITIONAL_ONLY = (
    "/{analysis_id}",
    "/{clip_id}",
    "/{endpoint_id}",
    "/{player_id}",
    "/{session_id}",
    "/{document_id}",
    "/{rules_id}",
    "/{key_id}",
    "/{organisation_id}",
    "/{upload_id}",
    "/{link_id}",
    "/{share_id}",
    "/invitation",
    "/usage",
    "/parts",
    "/{language}",
    "/file",
)
_NAMES_OTHERS = (
    "/analyses",
    "/api-keys",
    "/clips",
    "/comparisons",
    "/drill-checks",
    "/uploads",
    "/intake-links",
    "/share-links",
)
"""Collections whose new members name other resources, which may not exist."""

_NEEDED_ALL_THE_SAME = frozenset({"Upload-Length", "Upload-Offset"})
"""Headers whose absence has an answer of its own, not the framework's."""

webhooks = APIRouter()


@webhooks.post("event", operation_id="on_event", summary="An event")
def _event(body: WebhookEvent) -> None:
    """Sent to your endpoint: a CloudEvents 1.0 body under the Standard Webhooks headers
    `webhook-id`, `webhook-timestamp`, `webhook-signature`. Answer 2xx within 15 s. Verify the
    signature over the raw body, and drop repeats by `webhook-id`. `traceparent` (W3C Trace
    Context) goes on from the one that you sent with the request.
    """


def document(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the application, made once."""
    if app.openapi_schema:
        return app.openapi_schema
    spec = get_openapi(
        title="Servewright",
        version=VERSION,
        openapi_version="3.1.0",
        summary="Serve mechanics from film",
        description=DESCRIPTION,
        routes=app.routes,
        webhooks=app.webhooks.routes,
        tags=TAGS,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        # One name a schema: nothing here reads differently from how it is written.
        separate_input_output_schemas=False,
    )
    schemas = spec["components"]["schemas"]
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    for name, schema in problem.pop("$defs", {}).items():
        schemas.setdefault(name, schema)
    schemas["Problem"] = problem
    schemas |= copy.deepcopy(SCHEMAS)
    spec["components"]["responses"] = {code: _problem(code) for code in _TITLES}
    spec["servers"] = [{"url": "/"}]
    settings: Settings = app.state.wiring.settings
    asked = scopes(app)
    for path, item in spec["paths"].items():
        for method in _METHODS:
            if method in item:
                _finish(path, method, item[method])
                scope = asked.get(item[method]["operationId"])
                add_notes(path, method, item[method], scope, settings)
    add_links(spec["paths"])
    for hook in spec.get("webhooks", {}).values():
        hook["post"]["responses"] = {"2XX": {"description": "Received."}}
        hook["post"].pop("security", None)
    name_shapes(spec)
    app.openapi_schema = spec
    return spec


def _problem(code: str) -> dict[str, Any]:
    response: dict[str, Any] = {
        "description": _TITLES[code],
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    if code == "401":
        response["headers"] = {"WWW-Authenticate": {"schema": {"type": "string"}}}
    if code in ("429", "503"):
        response["headers"] = {"Retry-After": {"schema": {"type": "integer"}}}
    return response


def _finish(path: str, method: str, operation: dict[str, Any]) -> None:
    responses: dict[str, Any] = operation["responses"]
    responses.pop("422", None)
    codes = {"500"}
    body = "requestBody" in operation
    parameters = operation.get("parameters", [])
    for parameter in parameters:
        _plain_parameter(parameter)
        parameter["required"] |= parameter["name"] in _NEEDED_ALL_THE_SAME
    if path.startswith(PROTECTED) or operation.get("security"):
        codes |= {"401", "403", "429", "503"}
    if path.startswith("/i/"):
        codes |= {"410", "429", "503"}
    if "{" in path:
        codes |= {"404", "422"}
    if path in _ONE_OR_NONE:
        codes |= {"404"}
    if parameters or body:
        codes |= {"400", "422"}
    if body or method in ("post", "patch"):
        codes |= {"413"}
    if body:
        codes |= {"415"}
    if any(p["name"].lower() == "idempotency-key" for p in parameters) or (
        path.startswith(PROTECTED) and (method == "post" or path.endswith((*_RANGED, "/parts")))
    ):
        codes |= {"409"}
    for matched in (p for p in parameters if p["name"].lower() == "if-match"):
        matched["required"] = method == "patch"
        codes |= {"412", "428"} if method == "patch" else {"412"}
    if any(p["name"] == "Tus-Resumable" for p in parameters):
        codes |= {"412"} | ({"409", "410", "460"} if body else set())
    if method == "post" and path.removeprefix(PROTECTED) in _NAMES_OTHERS:
        codes |= {"404"}
    if method == "get" and path.startswith(PROTECTED):
        _conditional(path, operation, codes)
    for code in sorted(codes):
        responses.setdefault(code, {"$ref": f"#/components/responses/{code}"})
    name = operation["operationId"]
    for code, response in responses.items():
        if response.get("description") == "Successful Response":
            response["description"] = _SUCCESS[code]
        for kind, media in response.get("content", {}).items():
            if not media:
                media["schema"] = file_schema(kind)
        if code[0] == "2" and "headers" not in response:
            response["headers"] = _success_headers(path, method, code)
            if not response["headers"]:
                del response["headers"]
    if name in REQUEST_EXAMPLES:
        for kind, media in operation["requestBody"]["content"].items():
            fitting = {
                title: example
                for title, example in REQUEST_EXAMPLES[name].items()
                if kind != "application/json" or not isinstance(example["value"], str)
            }
            if fitting:
                media["examples"] = copy.deepcopy(fitting)
    if name in RESPONSE_EXAMPLES:
        for code, response in responses.items():
            media = response.get("content", {}).get("application/json")
            if code[0] == "2" and media is not None:
                media["examples"] = copy.deepcopy(RESPONSE_EXAMPLES[name])


def _plain_parameter(parameter: dict[str, Any]) -> None:
    """Take out the null that an optional parameter brings: a query cannot say it."""
    schema = parameter["schema"]
    choices = [one for one in schema.get("anyOf", []) if one != {"type": "null"}]
    if len(choices) == 1:
        del schema["anyOf"]
        parameter["schema"] = {**choices[0], **schema}


def _conditional(path: str, operation: dict[str, Any], codes: set[str]) -> None:
    responses = operation["responses"]
    ranged = path.endswith(_RANGED)
    if not ranged and not path.endswith(_CONDITIONAL_ONLY):
        return
    responses["304"] = {"description": "You have it already (If-None-Match)."}
    header = {"in": "header", "required": False, "schema": {"type": "string"}}
    operation.setdefault("parameters", []).append({"name": "If-None-Match", **header})
    operation["parameters"].append({"name": "If-Match", **header})
    codes.add("412")
    if ranged:
        operation["parameters"].append({"name": "Range", **header})
        ok = responses["200"]
        responses["206"] = {
            "description": "The part asked for.",
            "content": {kind: {} for kind in ok.get("content", {})},
        }
        codes.add("416")


def _success_headers(path: str, method: str, code: str) -> dict[str, Any]:
    text = {"schema": {"type": "string"}}
    headers: dict[str, Any] = {}
    if code in ("200", "201", "206") and path.startswith(PROTECTED):
        listing = method == "get" and not path.endswith(("}", *_RANGED, *_CONDITIONAL_ONLY))
        headers |= {"Link": text} if listing else {"ETag": text}
    if code == "201":
        headers["Location"] = text
    return headers
