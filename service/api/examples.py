"""Examples of the OpenAPI document. A test validates each against its schema."""

from __future__ import annotations

from typing import Any

CLIP = "clip_0198f0a1b2c37d4e8f90a1b2c3d4e5f6"
SECOND_CLIP = "clip_0198f0a1c5d67d4e8f90a1b2c3d4e5f7"
ANALYSIS = "ana_0198f0a1c0de7d4e8f90a1b2c3d4e5f6"
ENDPOINT = "whe_0198f0a1d0de7d4e8f90a1b2c3d4e5f6"
SHA256 = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"

_CLIP: dict[str, Any] = {
    "id": CLIP,
    "state": "ready",
    "created_at": "2026-05-04T09:30:00Z",
    "media_type": "video/mp4",
    "size_bytes": 4183212,
    "sha256": SHA256,
    "external_ref": "court-3/0417",
    "facts": None,
    "links": {"self": f"/v1/clips/{CLIP}", "content": f"/v1/clips/{CLIP}/content"},
}
_ANALYSIS: dict[str, Any] = {
    "id": ANALYSIS,
    "clip_id": CLIP,
    "status": "running",
    "stage": "pose",
    "progress": 0.42,
    "attempt": 1,
    "created_at": "2026-05-04T09:30:05Z",
    "started_at": "2026-05-04T09:30:06Z",
    "finished_at": None,
    "options": {"height_m": 1.83, "handedness": "right", "view": "side"},
    "external_ref": "court-3/0417",
    "headline": {},
    "time_left_s": 14.2,
    "first_look": {
        "clip": {
            "duration_s": 12.4,
            "frame_rate": 60.0,
            "frames": 744,
            "width": 1920,
            "height": 1080,
        },
        "view": {"label": "side", "azimuth_deg": 92.0, "azimuth_low": 76.3, "azimuth_high": 107.7},
        "usability": {
            "usable": True,
            "checks": [
                {
                    "key": "both_feet",
                    "passed": True,
                    "severity": "warning",
                    "value": 1.0,
                    "unit": "1",
                    "detail": {"code": "feet_stay", "text": "Both feet stay in the picture."},
                }
            ],
        },
        "likely_work": [{"start_s": 2.1, "end_s": 6.8}],
        "problems": [],
    },
    "problem": None,
    "pictures": [],
    "links": {
        "self": f"/v1/analyses/{ANALYSIS}",
        "clip": f"/v1/clips/{CLIP}",
        "cancel": f"/v1/analyses/{ANALYSIS}/cancel",
    },
}
_ENDPOINT: dict[str, Any] = {
    "id": ENDPOINT,
    "url": "https://club.example/hooks/serves",
    "description": "club app",
    "event_types": ["analysis.completed", "analysis.failed"],
    "enabled": True,
    "created_at": "2026-05-04T09:00:00Z",
    "updated_at": "2026-05-04T09:00:00Z",
    "links": {"self": f"/v1/webhook-endpoints/{ENDPOINT}"},
}

REQUEST_EXAMPLES: dict[str, dict[str, Any]] = {
    "start_analysis": {
        "known player": {
            "value": {
                "clip_id": CLIP,
                "options": {"height_m": 1.83, "handedness": "right", "view": "side"},
                "external_ref": "court-3/0417",
            }
        },
        "slow motion": {"value": {"clip_id": CLIP, "options": {"capture_fps": 240}}},
        "two films of one serve": {"value": {"clip_id": CLIP, "same_serve": SECOND_CLIP}},
    },
    "announce_clip": {
        "film": {"value": {"size_bytes": 4183212, "sha256": SHA256, "media_type": "video/mp4"}}
    },
    "announce_film_parts": {
        "film": {"value": {"size_bytes": 41832120, "sha256": SHA256, "media_type": "video/mp4"}}
    },
    "create_webhook_endpoint": {
        "analyses": {
            "value": {
                "url": "https://club.example/hooks/serves",
                "description": "club app",
                "event_types": ["analysis.completed", "analysis.failed"],
            }
        }
    },
    "change_webhook_endpoint": {"switch off": {"value": {"enabled": False}}},
    "create_api_key": {
        "upload only": {
            "value": {"name": "court camera", "scopes": ["clips:write", "analyses:write"]}
        }
    },
}
RESPONSE_EXAMPLES: dict[str, dict[str, Any]] = {
    "send_clip": {"clip": {"value": _CLIP}},
    "read_clip": {"clip": {"value": _CLIP}},
    "list_clips": {"page": {"value": {"items": [_CLIP], "next_cursor": None}}},
    "start_analysis": {
        "queued": {
            "value": {
                **_ANALYSIS,
                "status": "queued",
                "stage": None,
                "progress": 0.0,
                "time_left_s": None,
                "first_look": None,
            }
        }
    },
    "send_joints": {
        "queued": {
            "value": {
                **_ANALYSIS,
                "status": "queued",
                "stage": None,
                "progress": 0.0,
                "time_left_s": None,
                "first_look": None,
                "options": {"height_m": 1.83, "joints": {"target": {"x": 0.0, "y": 1.0}}},
            }
        }
    },
    "read_analysis": {"running": {"value": _ANALYSIS}},
    "list_analyses": {"page": {"value": {"items": [_ANALYSIS], "next_cursor": None}}},
    "read_webhook_endpoint": {"endpoint": {"value": _ENDPOINT}},
    "create_webhook_endpoint": {
        "endpoint": {
            "value": {**_ENDPOINT, "secret": "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="}
        }
    },
}
