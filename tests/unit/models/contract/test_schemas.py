"""The committed JSON Schemas are those of the types, are valid, and hold what the types hold."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

from models.contract.base import SCHEMA_BASE
from models.contract.resources import AnalysisOptions, AnalysisRequest, Events, Metrics
from models.contract.schemas import DIALECT, DOCUMENTS, EARLIER, SCHEMA_DIR, drifted, schema_of


def test_committed_schemas_are_those_of_the_types() -> None:
    assert drifted() == [], "run python -m models.contract.schemas --write"


def test_no_schema_file_without_a_type() -> None:
    files = {path.name for path in SCHEMA_DIR.glob("*.json")}
    assert files == {*DOCUMENTS, *EARLIER, "openapi.v1.json"}


@pytest.mark.parametrize("name", sorted((*DOCUMENTS, *EARLIER)))
def test_schema_is_valid_2020_12_with_a_stable_id(name: str) -> None:
    schema = json.loads((SCHEMA_DIR / name).read_text("utf-8"))
    assert schema["$schema"] == DIALECT
    assert schema["$id"] == SCHEMA_BASE + name
    Draft202012Validator.check_schema(schema)


def test_documents_name_their_own_schema() -> None:
    for name, cls in DOCUMENTS.items():
        field = cls.model_fields.get("schema_id")
        if field is not None:
            assert field.default == SCHEMA_BASE + name


def test_request_as_documented_fits_schema_and_type() -> None:
    request = {
        "clip_id": "clip_" + "0" * 32,
        "options": {"height_m": 1.83, "handedness": "left", "view": "behind", "capture_fps": 240},
        "external_ref": "court-3/0417",
    }
    Draft202012Validator(schema_of("analysis-request.v1.json")).validate(request)
    parsed = AnalysisRequest.model_validate(request)
    assert parsed.options.height_m == 1.83
    assert AnalysisRequest.model_validate_json(parsed.model_dump_json()) == parsed


def test_options_left_out_are_unknown_not_guessed() -> None:
    options = AnalysisOptions()
    assert options.height_m is None
    assert options.handedness == "unknown"
    assert options.view == "unknown"
    assert options.sex == "unknown"


def test_events_and_metrics_are_parts_of_the_analysis() -> None:
    from models.contract.analysis import Analysis

    analysis = Analysis.model_validate(
        {
            "clip": {
                "duration_s": 1,
                "frame_rate": 60,
                "frames": 60,
                "width": 640,
                "height": 360,
            },
            "view": {"label": "side"},
            "handedness": "right",
            "scale": {"source": "unknown"},
            "usability": {"usable": True},
            "repetitions": [
                {
                    "kind": "serve",
                    "start_s": 0.1,
                    "end_s": 0.9,
                    "confidence": 0.5,
                    "events": {
                        "contact": {
                            "time_s": 0.5,
                            "frame": 30,
                            "uncertainty_s": 0.01,
                            "confidence": 0.9,
                        }
                    },
                    "metrics": [
                        {
                            "key": "wrist_speed_peak",
                            "title": "Peak wrist speed",
                            "event": None,
                            "value": None,
                            "low": None,
                            "high": None,
                            "unit": "m/s",
                            "measurable": False,
                            "reason": "The frame rate is too low.",
                            "method": "kinematic_fit",
                            "reference": None,
                        }
                    ],
                }
            ],
            "engine_version": "0",
        }
    )
    events, metrics = Events.of(analysis), Metrics.of(analysis)
    assert events.repetitions[0].events == analysis.repetitions[0].events
    assert metrics.repetitions[0].metrics == analysis.repetitions[0].metrics
    assert metrics.cautions == analysis.cautions
    for name, document in (("events.v1.json", events), ("metrics.v2.json", metrics)):
        Draft202012Validator(schema_of(name)).validate(
            json.loads(document.model_dump_json(by_alias=True))
        )
