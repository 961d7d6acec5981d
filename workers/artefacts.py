"""The files of a result, the same whether they go into a folder or into the object store."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from models.contract.analysis import Analysis
from models.contract.joints import Joints
from workers.pipeline import PipelineResult

JSON = "application/json"


@dataclass(frozen=True, slots=True)
class ResultFile:
    """One file of a result.

    Attributes
    ----------
    name : str
        Name in the API: ``result``, ``events``, ``metrics``, ``joints``, ``joints.npz``,
        ``pictures/FILE``.
    path : str
        Relative path as a file.
    """

    name: str
    path: str
    media_type: str
    data: bytes


def result_files(result: PipelineResult) -> Iterator[ResultFile]:
    """Yield the files of a result one by one; equal results give equal bytes."""
    document = result.analysis.model_dump(mode="json", by_alias=True)
    yield _json("result", document)
    yield _json("events", _parts(document, "events"))
    yield _json("metrics", _parts(document, "metrics"))
    joints = Joints.of(result.track, result.bodies)
    yield ResultFile("joints", "joints.json", JSON, joints.model_dump_json(by_alias=True).encode())
    yield ResultFile("joints.npz", "joints.npz", "application/octet-stream", result.track.to_npz())
    for file, data in sorted(result.pictures.items()):
        yield ResultFile(f"pictures/{file}", f"pictures/{file}", "image/jpeg", data)


def analysis_json(analysis: Analysis) -> str:
    """Return the analysis document as text, as written to ``result.json``."""
    return _text(analysis.model_dump(mode="json", by_alias=True))


def headline(analysis: Analysis) -> dict[str, Any]:
    """Return the few values that an event body carries: counts, and the first serve's metrics."""
    values: dict[str, Any] = {
        "repetitions": len(analysis.repetitions),
        "problems": [problem.code for problem in analysis.problems],
    }
    if analysis.repetitions:
        first = analysis.repetitions[0]
        values["kind"] = first.kind.value
        values["metrics"] = [
            {
                "key": metric.key,
                "event": metric.event.value if metric.event else None,
                "value": metric.value,
                "low": metric.low,
                "high": metric.high,
                "unit": metric.unit,
            }
            for metric in first.metrics
            if metric.measurable and metric.key in HEADLINE_METRICS
        ]
    return values


HEADLINE_METRICS = frozenset(
    {"rear_foot_load_share", "front_knee_flexion", "rear_knee_flexion", "shoulder_turn"}
)


def _parts(document: dict[str, Any], part: str) -> dict[str, Any]:
    """Return one part of each repetition, with what tells the repetitions apart."""
    return {
        "repetitions": [
            {
                "repetition": number,
                "kind": repetition["kind"],
                "start_s": repetition["start_s"],
                "end_s": repetition["end_s"],
                part: repetition[part],
            }
            for number, repetition in enumerate(document["repetitions"])
        ]
    }


def _json(name: str, document: dict[str, Any]) -> ResultFile:
    return ResultFile(name, f"{name}.json", JSON, _text(document).encode())


def _text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
