"""Examples of the OpenAPI document: filing, keys, organisations and what is sent again."""

from __future__ import annotations

from typing import Any

REQUEST_EXAMPLES: dict[str, dict[str, Any]] = {
    "change_clip": {
        "another session": {"value": {"session_id": "ses_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"}},
        "under none": {"value": {"session_id": None}},
    },
    "record_consent": {
        "a parent, on paper": {
            "value": {
                "given_by": "guardian",
                "name": "Robin Vale",
                "given_at": "2026-05-04T09:00:00Z",
                "version": "2026-05",
                "text": "The club may film the serves of my child and keep the films for a season.",
                "covers": ["analysis"],
                "keep_films_days": 240,
            }
        }
    },
    "rotate_webhook_secret": {"two days of both": {"value": {"overlap_hours": 48}}},
    "rotate_api_key": {"two days of both": {"value": {"overlap_hours": 48}}},
    "replay_webhook_events": {
        "what failed in a night": {
            "value": {
                "created_from": "2026-05-04T22:00:00Z",
                "created_before": "2026-05-05T06:00:00Z",
                "states": ["failed"],
            }
        },
        "one event": {"value": {"event_id": "evt_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"}},
    },
    "create_organisation": {
        "a club": {"value": {"name": "Riverside club", "limits": {"films_per_month": 500}}}
    },
    "change_organisation": {
        "more films": {"value": {"limits": {"films_per_month": 900}}},
        "films for a year": {"value": {"keeping": {"films_days": 365, "reports_days": 730}}},
    },
}
