"""Who may do what: every route against every scope, and one tenant against another."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import httpx
from fastapi import FastAPI

from service.api.middleware import PROTECTED
from service.core.principal import Scope
from service.core.tables import Base
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem, complete

OPEN = ("/", "/docs", "/openapi.json", "/problems", "/schemas", "/livez", "/readyz")
METRICS = "/metrics"
BY_TOKEN = ("/i/{token}", "/s/{token}")
"""Whoever knows the address has what it is good for."""
NEEDED = {
    "send_clip": Scope.CLIPS_WRITE,
    "send_joints": Scope.CLIPS_WRITE,
    "announce_clip": Scope.CLIPS_WRITE,
    "announce_film_parts": Scope.CLIPS_WRITE,
    "read_film_parts": Scope.CLIPS_WRITE,
    "change_clip": Scope.CLIPS_WRITE,
    "complete_clip": Scope.CLIPS_WRITE,
    "list_clips": Scope.CLIPS_READ,
    "read_clip": Scope.CLIPS_READ,
    "read_clip_content": Scope.CLIPS_READ,
    "erase_clip": Scope.CLIPS_ERASE,
    "start_analysis": Scope.ANALYSES_WRITE,
    "cancel_analysis": Scope.ANALYSES_WRITE,
    "erase_analysis": Scope.CLIPS_ERASE,
    "analyse_again": Scope.ANALYSES_WRITE,
    "list_analyses": Scope.RESULTS_READ,
    "read_analysis": Scope.RESULTS_READ,
    "read_result": Scope.RESULTS_READ,
    "read_joints": Scope.RESULTS_READ,
    "read_joints_arrays": Scope.RESULTS_READ,
    "read_events": Scope.RESULTS_READ,
    "read_metrics": Scope.RESULTS_READ,
    "read_picture": Scope.RESULTS_READ,
    "read_report": Scope.RESULTS_READ,
    "read_annotated_film": Scope.RESULTS_READ,
    "create_player": Scope.PLAYERS_WRITE,
    "list_players": Scope.PLAYERS_READ,
    "read_player": Scope.PLAYERS_READ,
    "change_player": Scope.PLAYERS_WRITE,
    "erase_player": Scope.CLIPS_ERASE,
    "create_session": Scope.PLAYERS_WRITE,
    "list_sessions": Scope.PLAYERS_READ,
    "read_session": Scope.PLAYERS_READ,
    "change_session": Scope.PLAYERS_WRITE,
    "erase_session": Scope.CLIPS_ERASE,
    "record_consent": Scope.PLAYERS_WRITE,
    "list_player_consents": Scope.PLAYERS_READ,
    "read_player_consent": Scope.PLAYERS_READ,
    "withdraw_consent": Scope.CLIPS_ERASE,
    "read_keeping": Scope.CLIPS_READ,
    "export_player": Scope.ADMIN,
    "list_audit_entries": Scope.ADMIN,
    **{
        f"{verb}_{kind}{part}": scope
        for kind in ("comparison", "progress", "plan", "drill_check")
        for verb, part, scope in (
            ("start", "", Scope.ANALYSES_WRITE),
            ("cancel", "", Scope.ANALYSES_WRITE),
            ("read", "", Scope.RESULTS_READ),
            ("read", "_result", Scope.RESULTS_READ),
            ("erase", "", Scope.CLIPS_ERASE),
        )
    },
    "list_all_work": Scope.ADMIN,
    "read_any_work": Scope.ADMIN,
    "try_any_work_again": Scope.ADMIN,
    "cancel_any_work": Scope.ADMIN,
    "read_installation_state": Scope.ADMIN,
    "create_upload": Scope.CLIPS_WRITE,
    "read_upload": Scope.CLIPS_WRITE,
    "send_upload_part": Scope.CLIPS_WRITE,
    "end_upload": Scope.CLIPS_WRITE,
    "list_erasures": Scope.CLIPS_ERASE,
    "read_erasure": Scope.CLIPS_ERASE,
    **{f"{verb}_intake_link": Scope.INTAKE_MANAGE for verb in ("create", "read", "revoke")},
    "list_intake_links": Scope.INTAKE_MANAGE,
    "list_consents": Scope.INTAKE_MANAGE,
    **{f"{verb}_share_link": Scope.SHARES_MANAGE for verb in ("create", "read", "revoke")},
    "list_share_links": Scope.SHARES_MANAGE,
    "read_words": Scope.RESULTS_READ,
    "list_comparisons": Scope.RESULTS_READ,
    "list_progress": Scope.RESULTS_READ,
    "list_plans": Scope.RESULTS_READ,
    "list_drill_checks": Scope.RESULTS_READ,
    "read_comparison_report": Scope.RESULTS_READ,
    "read_comparison_film": Scope.RESULTS_READ,
    "read_comparison_picture": Scope.RESULTS_READ,
    "read_progress_report": Scope.RESULTS_READ,
    "read_plan_report": Scope.RESULTS_READ,
    "mark_analysis": Scope.ANALYSES_WRITE,
    "put_annotations": Scope.ANALYSES_WRITE,
    "read_annotations": Scope.RESULTS_READ,
    "delete_annotations": Scope.ANALYSES_WRITE,
    "send_voice": Scope.PLAYERS_WRITE,
    "list_voices": Scope.PLAYERS_READ,
    "read_voice": Scope.PLAYERS_READ,
    "read_voice_content": Scope.PLAYERS_READ,
    "delete_voice": Scope.PLAYERS_WRITE,
    "read_branding": Scope.RESULTS_READ,
    "put_branding": Scope.ADMIN,
    "delete_branding": Scope.ADMIN,
    "put_logo": Scope.ADMIN,
    "read_logo": Scope.RESULTS_READ,
    "read_second_joints": Scope.RESULTS_READ,
    "send_practice_rules": Scope.RULES_MANAGE,
    "list_practice_rules": Scope.RESULTS_READ,
    "read_practice_rules": Scope.RESULTS_READ,
    "read_shipped_practice_rules": Scope.RESULTS_READ,
    "read_practice_rule_file": Scope.RESULTS_READ,
    "delete_practice_rules": Scope.RULES_MANAGE,
    "create_webhook_endpoint": Scope.WEBHOOKS_MANAGE,
    "list_webhook_endpoints": Scope.WEBHOOKS_MANAGE,
    "read_webhook_endpoint": Scope.WEBHOOKS_MANAGE,
    "change_webhook_endpoint": Scope.WEBHOOKS_MANAGE,
    "delete_webhook_endpoint": Scope.WEBHOOKS_MANAGE,
    "rotate_webhook_secret": Scope.WEBHOOKS_MANAGE,
    "test_webhook_endpoint": Scope.WEBHOOKS_MANAGE,
    "list_webhook_deliveries": Scope.WEBHOOKS_MANAGE,
    "read_webhook_delivery": Scope.WEBHOOKS_MANAGE,
    "replay_webhook_events": Scope.WEBHOOKS_MANAGE,
    "create_api_key": Scope.ADMIN,
    "read_api_key": Scope.ADMIN,
    "rotate_api_key": Scope.ADMIN,
    "create_organisation": Scope.ADMIN,
    "list_organisations": Scope.ADMIN,
    "read_organisation": Scope.ADMIN,
    "change_organisation": Scope.ADMIN,
    "read_usage": Scope.ADMIN,
    "list_api_keys": Scope.ADMIN,
    "revoke_api_key": Scope.ADMIN,
}
IDS = {
    "{clip_id}": "clip_" + "0" * 32,
    "{analysis_id}": "ana_" + "0" * 32,
    "{voice_id}": "voc_" + "0" * 32,
    "{endpoint_id}": "whe_" + "0" * 32,
    "{event_id}": "evt_" + "0" * 32,
    "{key_id}": "0" * 16,
    "{organisation_id}": "org_" + "0" * 32,
    "{player_id}": "ply_" + "0" * 32,
    "{session_id}": "ses_" + "0" * 32,
    "{consent_id}": "cns_" + "0" * 32,
    "{kept_id}": "clip_" + "0" * 32,
    "{document_id}": "doc_" + "0" * 32,
    "{rules_id}": "rul_" + "0" * 32,
    "{name}": "a.png",
}
BODIES: dict[str, dict[str, Any]] = {
    "start_analysis": {"clip_id": "clip_" + "0" * 32},
    "announce_clip": {"size_bytes": 5, "sha256": "0" * 64},
    "create_webhook_endpoint": {"url": "https://hooks.example.org/a"},
    "change_webhook_endpoint": {"enabled": False},
    "replay_webhook_events": {"event_id": "evt_" + "0" * 32},
    "create_api_key": {"name": "n", "scopes": ["clips:read"]},
    "create_organisation": {"name": "n"},
    "change_organisation": {"name": "n"},
    "mark_analysis": {"role": "model"},
    "put_annotations": {
        "marks": [{"type": "point", "picture": "serve-1-set-up.jpg", "at": [1, 1]}]
    },
    "put_branding": {"name": "n"},
    "record_consent": {"given_by": "guardian", "name": "n", "version": "1", "text": "yes"},
}


def operations(app: FastAPI) -> list[tuple[str, str, str]]:
    found = []
    for path, item in app.openapi()["paths"].items():
        if path.startswith(PROTECTED):
            for name, value in IDS.items():
                path = path.replace(name, value)
            found += [(m.upper(), path, op["operationId"]) for m, op in item.items()]
    return found


def ask(client: httpx.Client, method: str, path: str, name: str, **kw: Any) -> httpx.Response:
    return client.request(method, path, json=BODIES.get(name), **kw)


def test_each_route_asks_for_a_key(anonymous: httpx.Client, app: FastAPI) -> None:
    wrong = (
        {},
        {"authorization": ""},
        {"authorization": "Bearer"},
        {"authorization": "Bearer x"},
        {"authorization": "Basic eDp5"},
        {"authorization": f"Bearer sw_{'0' * 16}_{'0' * 64}_00000000"},
    )
    for method, path, name in operations(app):
        for headers in wrong:
            reply = ask(anonymous, method, path, name, headers=headers)
            assert_problem(reply, 401, "unauthenticated")
            assert reply.headers["www-authenticate"].startswith("Bearer")


def test_only_a_known_list_of_paths_is_open(anonymous: httpx.Client, app: FastAPI) -> None:
    for route in app.openapi()["paths"]:
        assert route.startswith((PROTECTED + "/", *BY_TOKEN)) or route in (*OPEN, METRICS)
    assert_problem(anonymous.get(METRICS), 401, "unauthenticated")
    for path in OPEN:
        assert anonymous.get(path, follow_redirects=True).status_code == 200


def test_each_route_asks_for_its_scope_and_no_other(
    anonymous: httpx.Client, app: FastAPI, as_key: Callable[..., dict[str, str]]
) -> None:
    routes = operations(app)
    assert {name for _, _, name in routes} == set(NEEDED)
    for scope in Scope:
        headers = as_key(scope)
        for method, path, name in routes:
            status = ask(anonymous, method, path, name, headers=headers).status_code
            allowed = scope in (NEEDED[name], Scope.ADMIN)
            assert (status != 403) == allowed, (scope, method, path, status)


def test_tenants_do_not_see_each_other(
    client: httpx.Client,
    wired: Wiring,
    as_key: Callable[..., dict[str, str]],
    clip_id: str,
    analysis_id: str,
) -> None:
    complete(wired, analysis_id)
    endpoint = client.post("/v1/webhook-endpoints", json={"url": "https://hooks.example.org/a"})
    endpoint_id, tag = endpoint.json()["id"], endpoint.headers["etag"]
    other = as_key(Scope.ADMIN, tenant="other")
    for method, path, body in (
        ("GET", f"/v1/clips/{clip_id}", None),
        ("GET", f"/v1/clips/{clip_id}/content", None),
        ("DELETE", f"/v1/clips/{clip_id}", None),
        ("POST", f"/v1/clips/{clip_id}/complete", None),
        ("GET", f"/v1/analyses/{analysis_id}", None),
        ("DELETE", f"/v1/analyses/{analysis_id}", None),
        ("GET", f"/v1/analyses/{analysis_id}/result", None),
        ("POST", f"/v1/analyses/{analysis_id}/cancel", None),
        ("POST", "/v1/analyses", {"clip_id": clip_id}),
        ("GET", f"/v1/webhook-endpoints/{endpoint_id}", None),
        ("PATCH", f"/v1/webhook-endpoints/{endpoint_id}", {"enabled": False}),
        ("DELETE", f"/v1/webhook-endpoints/{endpoint_id}", None),
    ):
        reply = client.request(method, path, json=body, headers={**other, "if-match": tag})
        assert_problem(reply, 404, "not_found")
    for path in ("/v1/clips", "/v1/analyses", "/v1/webhook-endpoints"):
        assert client.get(path, headers=other).json()["items"] == []
    assert len(client.get("/v1/api-keys", headers=other).json()["items"]) == 1


def test_keys_are_made_listed_and_revoked(client: httpx.Client) -> None:
    made = client.post(
        "/v1/api-keys", json={"name": "camera", "scopes": ["clips:read"], "expires_in_days": 7}
    )
    assert made.status_code == 201
    key, key_id = made.json()["key"], made.json()["id"]
    mine = {"authorization": f"Bearer {key}"}
    assert client.get("/v1/clips", headers=mine).status_code == 200
    assert_problem(client.get("/v1/api-keys", headers=mine), 403, "forbidden")
    listed = client.get("/v1/api-keys")
    assert key not in listed.text
    assert key_id in {item["id"] for item in listed.json()["items"]}
    assert client.delete(f"/v1/api-keys/{key_id}").status_code == 204
    assert_problem(client.get("/v1/clips", headers=mine), 401, "unauthenticated")
    assert_problem(client.delete(f"/v1/api-keys/{key_id}"), 404, "not_found")


def test_no_usable_key_is_stored(client: httpx.Client, wired: Wiring) -> None:
    key = wired.keys.add("k")
    secret = key.split("_")[2]
    with wired.database.read() as session:
        from sqlalchemy import select

        for table in Base.metadata.sorted_tables:
            for row in session.execute(select(table)):
                assert secret not in repr(tuple(row))
