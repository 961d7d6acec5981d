"""Examples of players, sessions, derived documents and rules for the OpenAPI document."""

from __future__ import annotations

from typing import Any

PLAYER = "ply_0198f0a1e0de7d4e8f90a1b2c3d4e5f6"
BEFORE = "ses_0198f0a1f0de7d4e8f90a1b2c3d4e5f6"
AFTER = "ses_0198f0a2f0de7d4e8f90a1b2c3d4e5f6"
ANALYSES = ("ana_0198f0a1c0de7d4e8f90a1b2c3d4e5f6", "ana_0198f0a2c0de7d4e8f90a1b2c3d4e5f6")
COMPARISON = "cmp_0198f0a3b2c37d4e8f90a1b2c3d4e5f6"
PROGRESS = "prg_0198f0a3b2c37d4e8f90a1b2c3d4e5f6"
PLAN = "pln_0198f0a3b2c37d4e8f90a1b2c3d4e5f6"
CHECK = "drl_0198f0a3b2c37d4e8f90a1b2c3d4e5f6"
RULES = "rul_0198f0a3b2c37d4e8f90a1b2c3d4e5f6"
_HERE = f"/v1/players/{PLAYER}"

_PLAYER: dict[str, Any] = {
    "id": PLAYER,
    "external_id": "member-0417",
    "handedness": "left",
    "height_m": 1.74,
    "sex": "female",
    "birth_year": 1994,
    "notes": None,
    "may_be_minor": False,
    "created_at": "2026-05-04T08:55:00Z",
    "updated_at": "2026-05-04T08:55:00Z",
    "cautions": [],
    "links": {
        "self": _HERE,
        "sessions": f"{_HERE}/sessions",
        "progress": f"{_HERE}/progress",
        "plans": f"{_HERE}/plans",
    },
}
_SESSION: dict[str, Any] = {
    "id": BEFORE,
    "player_id": PLAYER,
    "kind": "baseline",
    "filmed_at": "2026-05-04T09:00:00Z",
    "drill_stage": None,
    "drill_id": None,
    "serve_speed": {"value_m_s": 38.5, "source": "radar"},
    "notes": "first serves, deuce court",
    "created_at": "2026-05-04T09:20:00Z",
    "updated_at": "2026-05-04T09:20:00Z",
    "links": {
        "self": f"{_HERE}/sessions/{BEFORE}",
        "player": _HERE,
        "clips": f"/v1/clips?session_id={BEFORE}",
    },
}


def _derived(identifier: str, kind: str, address: str, **changes: Any) -> dict[str, Any]:
    document = {
        "id": identifier,
        "kind": kind,
        "player_id": PLAYER,
        "analyses": list(ANALYSES),
        "status": "completed",
        "progress": 1.0,
        "attempt": 1,
        "created_at": "2026-05-04T10:00:00Z",
        "started_at": "2026-05-04T10:00:01Z",
        "finished_at": "2026-05-04T10:00:09Z",
        "external_ref": None,
        "headline": {},
        "problem": None,
        "pictures": [],
        "links": {
            "self": address,
            "player": _HERE,
            "result": f"{address}/result",
            "report.html": f"{address}/report.html",
        },
    }
    return document | changes


_COMPARISON = _derived(
    COMPARISON,
    "comparison",
    f"/v1/comparisons/{COMPARISON}",
    headline={
        "surely_changed": 1,
        "probably_changed": 2,
        "no_change_seen": 29,
        "cannot_tell": 6,
        "changes": [],
    },
    pictures=[f"/v1/comparisons/{COMPARISON}/pictures/pair-trophy.jpg"],
)
_PROGRESS = _derived(
    PROGRESS,
    "progress",
    f"{_HERE}/progress/{PROGRESS}",
    headline={
        "answer": "answer_holds_no_match",
        "relapse": False,
        "verdicts": {"held": 2, "no_measurable_gain": 30},
        "next_check": None,
    },
)
_PLAN = _derived(
    PLAN,
    "plan",
    f"{_HERE}/plans/{PLAN}",
    headline={"focus": "weight_not_on_rear_foot", "next": "hold_loaded", "steps": []},
)
_CHECK = _derived(
    CHECK,
    "drill_check",
    f"/v1/drill-checks/{CHECK}",
    headline={"drill": "hold_loaded", "decision": "advance", "next_drill": "shadow_slow"},
    links={"self": f"/v1/drill-checks/{CHECK}", "result": f"/v1/drill-checks/{CHECK}/result"},
)
_RULES: dict[str, Any] = {
    "id": RULES,
    "name": "Club rules, spring",
    "findings": 6,
    "drills": 8,
    "created_at": "2026-05-04T08:00:00Z",
    "links": {
        "self": f"/v1/practice-rules/{RULES}",
        "file": f"/v1/practice-rules/{RULES}/file",
        "describedby": "/schemas/practice-rules.v1.json",
    },
}
_OWN_RULES = """\
name: Club rules, spring
findings:
  - id: weight_not_on_rear_foot
    metric: rear_foot_load_share
    event: loading
    is: "<="
    value: 0.55
    unit: "1"
    scale: 0.1
    text: Your weight is not back far enough when you are most loaded.
    source: our own rule
    drills: [hold_loaded, shadow_slow, serve_easy]
remove: [shoulders_level]
"""


def _page(item: dict[str, Any]) -> dict[str, Any]:
    return {"page": {"value": {"items": [item], "next_cursor": None}}}


REQUEST_EXAMPLES: dict[str, dict[str, Any]] = {
    "create_player": {
        "left-hander": {
            "value": {
                "external_id": "member-0417",
                "handedness": "left",
                "height_m": 1.74,
                "sex": "female",
                "birth_year": 1994,
            }
        }
    },
    "change_player": {"measured anew": {"value": {"height_m": 1.75}}},
    "create_session": {
        "baseline": {
            "value": {
                "kind": "baseline",
                "filmed_at": "2026-05-04T09:00:00Z",
                "serve_speed": {"value_m_s": 38.5, "source": "radar"},
            }
        },
        "drill": {
            "value": {
                "kind": "acquisition",
                "filmed_at": "2026-05-04T09:40:00Z",
                "drill_stage": "hold",
                "drill_id": "hold_loaded",
            }
        },
    },
    "change_session": {"note": {"value": {"notes": "windy"}}},
    "start_comparison": {
        "before and after": {
            "value": {
                "first": {"label": "before", "sessions": [BEFORE]},
                "second": {"label": "after", "sessions": [AFTER]},
                "focus": ["rear_foot_load_share@loading"],
            }
        },
        "player and model": {
            "value": {
                "first": {"label": "player", "analyses": [ANALYSES[0]]},
                "second": {"label": "model", "analyses": [ANALYSES[1]]},
                "film": False,
            }
        },
    },
    "start_progress": {"serves": {"value": {"kind": "serve"}}},
    "start_plan": {
        "shipped rules": {"value": {}},
        "own rules": {"value": {"rules_id": RULES, "done": ["hold_loaded"]}},
    },
    "start_drill_check": {
        "next step of a plan": {"value": {"plan_id": PLAN, "sessions": [AFTER]}},
        "by name": {
            "value": {
                "finding": "weight_not_on_rear_foot",
                "drill": "hold_loaded",
                "analyses": [ANALYSES[0]],
            }
        },
    },
    "send_practice_rules": {"what differs": {"value": _OWN_RULES}},
}
RESPONSE_EXAMPLES: dict[str, dict[str, Any]] = {
    "create_player": {"player": {"value": _PLAYER}},
    "read_player": {"player": {"value": _PLAYER}},
    "list_players": _page(_PLAYER),
    "create_session": {"session": {"value": _SESSION}},
    "read_session": {"session": {"value": _SESSION}},
    "list_sessions": _page(_SESSION),
    "start_comparison": {
        "queued": {
            "value": {
                **_COMPARISON,
                "status": "queued",
                "progress": 0.0,
                "started_at": None,
                "finished_at": None,
                "headline": {},
                "pictures": [],
            }
        }
    },
    "read_comparison": {"completed": {"value": _COMPARISON}},
    "list_comparisons": _page(_COMPARISON),
    "read_progress": {"completed": {"value": _PROGRESS}},
    "list_progress": _page(_PROGRESS),
    "read_plan": {"completed": {"value": _PLAN}},
    "list_plans": _page(_PLAN),
    "read_drill_check": {"completed": {"value": _CHECK}},
    "list_drill_checks": _page(_CHECK),
    "send_practice_rules": {"rules": {"value": _RULES}},
    "list_practice_rules": _page(_RULES),
}
