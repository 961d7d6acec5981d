"""Rows of the schema with two tables of work, written in plain SQL."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine, text

from models.contract.errors import ClipDamaged
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus
from service.core.objects import LocalObjects

RESULT = Path(__file__).parents[2] / "data" / "version_1" / "result.json"
PLAYER = f"ply_{1:032x}"
SESSION = f"ses_{2:032x}"
CLIP = f"clip_{3:032x}"
ENDPOINT = f"whe_{4:032x}"
STATUSES = [one.value for one in AnalysisStatus]
DOCUMENTS = {"comparison": "cmp", "progress": "prg", "plan": "pln", "drill_check": "drl"}
PATHS = {
    "analysis": "/v1/analyses",
    "comparison": "/v1/comparisons",
    "progress": f"/v1/players/{PLAYER}/progress",
    "plan": f"/v1/players/{PLAYER}/plans",
    "drill_check": "/v1/drill-checks",
}
REQUESTS: dict[str, dict[str, Any]] = {
    "comparison": {"labels": {"first": "May", "second": "June"}, "kind": "serve", "film": False},
    "progress": {"kind": "serve"},
    "plan": {"rules_id": None, "rules": None, "done": []},
    "drill_check": {"rules": None, "finding": "f", "drill": "d", "plan_id": None},
}
OPTIONS = {"height_m": 1.83, "handedness": "left", "view": "side"}
THEN = datetime(2026, 5, 4, 10, tzinfo=UTC)


@dataclass
class Old:
    """A database of the version before, and what was put into it."""

    url: str
    objects: LocalObjects
    work: dict[tuple[str, str], str] = field(default_factory=dict)
    contents: dict[tuple[str, str], bytes] = field(default_factory=dict)
    events: dict[str, tuple[str | None, str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.engine = create_engine(self.url)
        self.count = 100

    def stamp(self, moment: datetime) -> str:
        zone = "" if self.engine.dialect.name == "sqlite" else "+00"
        return f"{moment:%Y-%m-%d %H:%M:%S.%f}{zone}"

    def insert(self, table: str, **values: Any) -> None:
        shown = {
            name: json.dumps(value)
            if isinstance(value, dict | list)
            else self.stamp(value)
            if isinstance(value, datetime)
            else value
            for name, value in values.items()
        }
        names = ", ".join(shown)
        places = ", ".join(f":{name}" for name in shown)
        with self.engine.begin() as connection:
            connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({places})"), shown)

    def number(self) -> int:
        self.count += 1
        return self.count

    def life(self, kind: str, status: str, prefix: str, folder: str) -> dict[str, Any]:
        """Return the columns that analyses and documents had in common."""
        number = self.number()
        work_id = f"{prefix}_{number:032x}"
        self.work[kind, status] = work_id
        begun = status != "queued"
        ended = status in ("completed", "failed", "cancelled")
        artifacts: dict[str, Any] = {}
        if status == "completed":
            for name in ("result", "report.html"):
                data = f"{name} of {work_id}".encode()
                if (kind, name) == ("analysis", "result"):
                    data = RESULT.read_bytes()
                key = f"{folder}/{work_id}/2/{name}"
                media = "text/html" if name.endswith("html") else "application/json"
                self.objects.put_bytes(key, data, media)
                digest = hashlib.sha256(data).hexdigest()
                artifacts[name] = {
                    "key": key,
                    "sha256": digest,
                    "size_bytes": len(data),
                    "media_type": media,
                }
                self.contents[work_id, name] = data
        problem = Problem.of(ClipDamaged(), instance=f"{PATHS[kind]}/{work_id}")
        return {
            "id": work_id,
            "tenant_id": "main",
            "created_at": THEN + timedelta(minutes=number),
            "status": status,
            "stage": "pose" if begun else None,
            "progress": 1.0 if status == "completed" else 0.25 if begun else 0.0,
            "attempt": 2,
            "crashes": 1,
            "lease_until": THEN if status == "running" else None,
            "lease_holder": "host:1" if status == "running" else None,
            "queued_at": THEN,
            "started_at": THEN if begun else None,
            "finished_at": THEN + timedelta(hours=1) if ended else None,
            "external_ref": f"{kind}-{status}",
            "artifacts": artifacts,
            "headline": {"serves": 3} if status == "completed" else {},
            "problem": problem.model_dump(mode="json") if status == "failed" else None,
        }

    def event(self, kind: str, delivery: str, **of: str | None) -> None:
        """Write an event and its delivery."""
        event_id = f"evt_{self.number():032x}"
        body = json.dumps({"id": event_id, "type": kind})
        subject = of.get("analysis_id") or of.get("document_id")
        self.events[event_id] = (subject, delivery, body)
        self.insert(
            "outbox_events",
            id=event_id,
            tenant_id="main",
            created_at=THEN,
            type=kind,
            body=body,
            **of,
        )
        self.insert(
            "deliveries",
            event_id=event_id,
            endpoint_id=ENDPOINT,
            state=delivery,
            tries=0 if delivery == "pending" else 3,
            due_at=THEN,
        )

    def rows(self, table: str) -> int:
        with self.engine.connect() as connection:
            return int(connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one())
