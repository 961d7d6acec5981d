"""What stands beside each call in the API description: scope, limits, when to send it again, and a
line for curl.
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from fastapi.routing import APIRoute

from service.api.dependencies import MAX_PAGE, scope_of
from service.core.settings import Settings

JSON = "application/json"
FILMS = ("video/", "application/offset+octet-stream")
JOINTS = "send_joints"
BASE = "https://serve.example.org"
_JOINTS_SENT = ("-F", "file=@serve.c3d", "-F", shlex.quote('options={"height_m": 1.83}'))
AFTERWARDS = (
    "On 429 and 503 wait as `Retry-After` says; after a broken connection 1 s, then twice as long "
    "each time, up to 60 s."
)


def scopes(app: FastAPI) -> dict[str, str]:
    """Return the scope that each operation asks for, by its id."""
    found = {}
    for route in _routes(app):
        for dependency in route.dependant.dependencies:
            scope = scope_of(dependency.call)
            if scope is not None and route.operation_id is not None:
                found[route.operation_id] = scope.value
    return found


def _routes(app: FastAPI) -> Iterator[APIRoute]:
    for included in app.router.routes:
        contexts = getattr(included, "effective_route_contexts", None)
        for context in contexts() if contexts is not None else ():
            if isinstance(context.original_route, APIRoute):
                yield context.original_route


def add_notes(
    path: str, method: str, operation: dict[str, Any], scope: str | None, settings: Settings
) -> None:
    """Add the notes to an operation: to its description, and the line as ``x-codeSamples``."""
    said = [operation.get("description", "")]
    if scope is not None:
        said.append(f"Scope `{scope}`." if scope == "admin" else f"Scope `{scope}` (or `admin`).")
    said.append(" ".join(_limits(operation, scope, settings)))
    said.append(_again(path, method, operation, settings))
    operation["description"] = "\n\n".join(part for part in said if part)
    line = _curl(path, method, operation, keyed=scope is not None)
    operation["x-codeSamples"] = [{"lang": "Shell", "label": "curl", "source": line}]


def _limits(operation: dict[str, Any], scope: str | None, settings: Settings) -> Iterator[str]:
    kinds = operation.get("requestBody", {}).get("content", {})
    if operation["operationId"] == JOINTS:
        yield f"Limit: a file of joints has {_size(settings.max_joints_bytes)} at most."
    elif any(kind.startswith(FILMS) for kind in kinds):
        longest = f"{settings.max_clip_duration_s:g} s"
        yield f"Limit: a film has {_size(settings.max_clip_bytes)} and {longest} at most."
    elif kinds:
        yield f"Limit: the body has {_size(settings.max_body_bytes)} at most."
    if _has(operation, "cursor"):
        yield f"Limit: {MAX_PAGE} items a page."
    if scope is not None and settings.limit_requests_per_minute:
        yield f"Limit: {settings.limit_requests_per_minute} requests a minute of an organisation."


def _again(path: str, method: str, operation: dict[str, Any], settings: Settings) -> str:
    if not path.startswith("/v1"):
        return "Again: whenever you like."
    if method == "get":
        return f"Again: safe. {AFTERWARDS}"
    if method == "delete":
        return f"Again: a repeat of what is done answers 404. {AFTERWARDS}"
    if method == "patch" and _has(operation, "If-Match"):
        return (
            "Again: a repeat of what is done answers 412, since the state is another; read it "
            f"then. {AFTERWARDS}"
        )
    if _has(operation, "Upload-Offset"):
        return f"Again: ask with HEAD where to go on. {AFTERWARDS}"
    if _has(operation, "Idempotency-Key"):
        return (
            f"Again: with the same Idempotency-Key the outcome is the same for "
            f"{settings.idempotency_ttl_h:g} h; without one it is a new request. {AFTERWARDS}"
        )
    return f"Again: the outcome is the same. {AFTERWARDS}"


def _has(operation: dict[str, Any], name: str) -> bool:
    return any(one["name"] == name for one in operation.get("parameters", ()))


def _size(size_bytes: int) -> str:
    for unit, factor in (("GiB", 1024**3), ("MiB", 1024**2), ("KiB", 1024)):
        if size_bytes >= factor:
            return f"{size_bytes / factor:.3g} {unit}"
    return f"{size_bytes} bytes"


def _curl(path: str, method: str, operation: dict[str, Any], *, keyed: bool) -> str:
    """Return one line for a shell; the key is in ``$KEY``."""
    address = path
    parts = ["curl"] + ([] if method == "get" else ["-X", method.upper()])
    if keyed:
        parts += ["-H", '"Authorization: Bearer $KEY"']
    for parameter in operation.get("parameters", ()):
        value = _example(parameter)
        if parameter["in"] == "path":
            address = address.replace("{%s}" % parameter["name"], value)  # noqa: UP031
        elif parameter["in"] == "header" and parameter.get("required"):
            parts += ["-H", shlex.quote(f"{parameter['name']}: {value}")]
    if _has(operation, "Idempotency-Key"):
        parts += ["-H", '"Idempotency-Key: $(uuidgen)"']
    kinds = operation.get("requestBody", {}).get("content", {})
    parts += _JOINTS_SENT if operation["operationId"] == JOINTS else _body(kinds)
    return " ".join([*parts, shlex.quote(BASE + address)])


def _example(parameter: dict[str, Any]) -> str:
    if parameter["name"] == "If-Match":
        return '"ETAG"'
    examples = parameter.get("examples") or parameter["schema"].get("examples") or ["contact.png"]
    first = next(iter(examples.values()))["value"] if isinstance(examples, dict) else examples[0]
    return str(first)


def _body(kinds: dict[str, Any]) -> list[str]:
    if "multipart/form-data" in kinds:
        return ["-F", "file=@serve.mp4"]
    if JSON in kinds and kinds[JSON].get("examples"):
        example = next(iter(kinds[JSON]["examples"].values()))["value"]
        text = json.dumps(example, ensure_ascii=False)
        return ["-H", shlex.quote(f"Content-Type: {JSON}"), "-d", shlex.quote(text)]
    if kinds:
        kind = next(iter(kinds))
        return ["-H", shlex.quote(f"Content-Type: {kind}"), "--data-binary", "@FILE"]
    return []
