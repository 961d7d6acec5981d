"""Write or check the JSON Schema 2020-12 files of the contract.

``python -m models.contract.schemas --write`` renews ``models/schemas/``; ``--check`` fails when a
committed file differs from what the types say.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from models.contract import (
    analysis,
    base,
    clip,
    coaching,
    comparison,
    joints,
    plan,
    problem,
    progress,
    resources,
    session_values,
    webhook,
)
from models.contract.annotations import Annotations

SCHEMA_DIR = Path(__file__).resolve().parent.parent / "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"

DOCUMENTS: dict[str, type[BaseModel]] = {
    "clip.v1.json": clip.ClipFacts,
    "analysis.v2.json": analysis.Analysis,
    "annotations.v1.json": Annotations,
    "joints.v2.json": joints.Joints,
    "events.v1.json": resources.Events,
    "metrics.v2.json": resources.Metrics,
    "problem.v1.json": problem.Problem,
    "webhook-event.v1.json": webhook.WebhookEvent,
    "clip-resource.v1.json": resources.ClipResource,
    "analysis-request.v1.json": resources.AnalysisRequest,
    "analysis-resource.v1.json": resources.AnalysisResource,
    "webhook-endpoint.v1.json": resources.WebhookEndpointResource,
    "comparison.v3.json": comparison.Comparison,
    "progress.v3.json": progress.Progress,
    "session-values.v1.json": session_values.SessionValues,
    "practice-rules.v1.json": plan.PracticeRules,
    "practice-plan.v3.json": plan.PracticePlan,
    "drill-outcome.v3.json": plan.DrillOutcome,
    "player.v2.json": coaching.PlayerResource,
    "session.v1.json": coaching.SessionResource,
    "derived-document.v1.json": coaching.DerivedResource,
}


EARLIER: tuple[str, ...] = (
    "joints.v1.json",
    "analysis.v1.json",
    "metrics.v1.json",
    "comparison.v1.json",
    "comparison.v2.json",
    "progress.v1.json",
    "progress.v2.json",
    "practice-plan.v1.json",
    "practice-plan.v2.json",
    "drill-outcome.v1.json",
    "drill-outcome.v2.json",
    "player.v1.json",
)
"""Schemas of earlier versions, served as they were: stored documents name them."""


def schema_of(name: str) -> dict[str, Any]:
    """Return one schema as served at ``/schemas/{name}``."""
    body = DOCUMENTS[name].model_json_schema(by_alias=True, mode="serialization")
    return {"$schema": DIALECT, "$id": base.SCHEMA_BASE + name, **body}


def rendered(name: str) -> str:
    """Return the exact text of one schema file."""
    if name in EARLIER:
        return (SCHEMA_DIR / name).read_text("utf-8")
    return json.dumps(schema_of(name), indent=1, ensure_ascii=False) + "\n"


def drifted(folder: Path = SCHEMA_DIR) -> list[str]:
    """Return the names of schema files that are missing or differ from the types."""
    return [
        name
        for name in DOCUMENTS
        if not (folder / name).is_file() or (folder / name).read_text("utf-8") != rendered(name)
    ]


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    group = parser.add_mutually_exclusive_group(required=True)
    group.add_argument("--write", action="store_true")
    group.add_argument("--check", action="store_true")
    if parser.parse_args().write:
        SCHEMA_DIR.mkdir(exist_ok=True)
        for name in DOCUMENTS:
            (SCHEMA_DIR / name).write_text(rendered(name), "utf-8")
        return 0
    for name in (changed := drifted()):
        print(f"{name} differs from the types: run python -m models.contract.schemas --write")
    return 1 if changed else 0


if __name__ == "__main__":
    raise SystemExit(main())
