"""Links of the OpenAPI document (OpenAPI 3.1, Link Object): what of an answer leads where.

Whoever makes something can go on to it, and so can tools that follow an id through the API.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

METHODS = ("get", "post", "put", "patch", "delete")
Paths = dict[str, dict[str, Any]]
SHOWN_WITH_SECRET = frozenset({"create_webhook_endpoint", "create_api_key", "create_organisation"})
"""Their answers hold more than reading does, so their entity tags are others."""
ELSEWHERE: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("send_clip", "start_analysis", {"requestBody": {"clip_id": "$response.body#/id"}}),
    ("send_clip", "list_analyses", {"parameters": {"query.clip_id": "$response.body#/id"}}),
    ("create_session", "send_clip", {"parameters": {"query.session_id": "$response.body#/id"}}),
    ("create_session", "send_joints", {"parameters": {"query.session_id": "$response.body#/id"}}),
    ("send_joints", "read_analysis", {"parameters": {"path.analysis_id": "$response.body#/id"}}),
    ("create_session", "list_clips", {"parameters": {"query.session_id": "$response.body#/id"}}),
    ("create_player", "list_clips", {"parameters": {"query.player_id": "$response.body#/id"}}),
    (
        "start_analysis",
        "start_drill_check",
        {
            "requestBody": {
                "analyses": ["$response.body#/id"],
                "finding": "weight_not_on_rear_foot",
                "drill": "hold_loaded",
            }
        },
    ),
    (
        "test_webhook_endpoint",
        "read_webhook_delivery",
        {
            "parameters": {
                "path.endpoint_id": "$request.path.endpoint_id",
                "path.event_id": "$response.body#/event_id",
            }
        },
    ),
    (
        "test_webhook_endpoint",
        "replay_webhook_events",
        {
            "parameters": {"path.endpoint_id": "$request.path.endpoint_id"},
            "requestBody": {"event_id": "$response.body#/event_id"},
        },
    ),
)
"""Links that addresses alone do not tell: from, to, and what is handed on."""


def add_links(paths: Paths) -> None:
    """Add links to the answers of the operations that make, list or read something."""
    operations = {op["operationId"]: op for _, _, op in _operations(paths)}
    for path, method, operation in _operations(paths):
        own = f"{path}/{{"
        for target, _, following in _operations(paths):
            name = following["operationId"]
            if method == "post" and target.startswith(own) and _made(operation):
                tagged = operation["operationId"] not in SHOWN_WITH_SECRET
                _link(operation, "201", name, _names(target, path, "id"), following, tagged)
            elif method == "get" and target.startswith(own) and "200" in operation["responses"]:
                if _lists(operation):
                    names = _names(target, path, "items/0/id")
                    _link(operation, "200", name, names, following, tagged=False)
            elif method == "get" and target == path and following is not operation:
                names = {f"path.{p}": f"$request.path.{p}" for p in _parameters(path)}
                _link(operation, "200", name, names, following, tagged=True)
    for source, target, link in ELSEWHERE:
        if source in operations and target in operations:
            answers = operations[source]["responses"]
            code = next(code for code in ("201", "202", "200") if code in answers)
            links = answers[code].setdefault("links", {})
            links[target] = {"operationId": target, **link}


def _operations(paths: Paths) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in paths.items():
        for method in METHODS:
            if method in item:
                yield path, method, item[method]


def _made(operation: dict[str, Any]) -> bool:
    return "201" in operation["responses"]


def _lists(operation: dict[str, Any]) -> bool:
    return str(operation["operationId"]).startswith("list_")


def _parameters(path: str) -> list[str]:
    return [part[1:-1] for part in path.split("/") if part.startswith("{")]


def _names(target: str, path: str, where: str) -> dict[str, str] | None:
    """Return where the parameters of a path below another come from; None = there are more."""
    known = _parameters(path)
    names = {f"path.{name}": f"$request.path.{name}" for name in known}
    added = _parameters(target)[len(known) :]
    if len(added) != 1:
        return None
    return names | {f"path.{added[0]}": f"$response.body#/{where}"}


def _link(
    operation: dict[str, Any],
    code: str,
    name: str,
    names: dict[str, str] | None,
    following: dict[str, Any],
    tagged: bool,
) -> None:
    response = operation["responses"].get(code)
    if names is None or response is None or "$ref" in response or name == operation["operationId"]:
        return
    parameters: dict[str, str] = dict(names)
    for parameter in following.get("parameters", ()):
        if parameter["name"] == "If-Match" and parameter.get("required"):
            if not tagged:
                return
            parameters["header.If-Match"] = "$response.header.ETag"
    response.setdefault("links", {})[name] = {"operationId": name, "parameters": parameters}
