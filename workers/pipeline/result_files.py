"""The files of a result, the same whether they go into a folder or into the object store."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from models.contract.analysis import Analysis
from models.contract.base import SCHEMA_BASE, Document
from models.contract.faces import hidden_name
from models.contract.joints import Joints
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.resources import Events, Metrics
from models.words import Words
from workers.pipeline.run import Drawings, PipelineResult
from workers.report.analysis_page import analysis_page
from workers.report.branded import Brand
from workers.report.from_coach import FromCoach

JSON = "application/json"
JPEG = "image/jpeg"
MP4 = "video/mp4"
HTML = "text/html; charset=utf-8"
SECOND_JOINTS = "joints.same_serve.npz"
"""Name of the landmarks of the second film of a serve."""


@dataclass(frozen=True, slots=True)
class ResultFile:
    """One file of a result.

    Attributes
    ----------
    name : str
        Name in the API: ``result``, ``events``, ``metrics``, ``joints``, ``joints.npz``,
        ``joints.same_serve.npz``, ``report.html``, ``film.mp4``, ``pictures/FILE``; with
        hidden faces beside these, the same below ``hidden/``.
    path : str
        Relative path as a file.
    schema : str or None
        Name of the JSON Schema, for a document that states one.
    """

    name: str
    path: str
    media_type: str
    data: bytes
    schema: str | None = None


def result_files(
    result: PipelineResult, words: Words | None = None, brand: Brand | None = None
) -> Iterator[ResultFile]:
    """Yield the files of a result one by one; equal results give equal bytes.

    ``words`` is the language of the report, English without; ``brand`` its look.
    """
    coach = FromCoach(brand=brand)
    yield json_file("result", result.analysis)
    yield json_file("events", Events.of(result.analysis))
    yield json_file("metrics", Metrics.of(result.analysis))
    joints = Joints.of(result.track, result.bodies)
    text = joints.model_dump_json(by_alias=True).encode()
    yield ResultFile("joints", "joints.json", JSON, text, schema_name(joints))
    yield ResultFile("joints.npz", "joints.npz", "application/octet-stream", result.track.to_npz())
    if result.second_track is not None:
        name = SECOND_JOINTS
        yield ResultFile(name, name, "application/octet-stream", result.second_track.to_npz())
    for file, data in sorted(result.pictures.items()):
        yield ResultFile(f"pictures/{file}", f"pictures/{file}", JPEG, data)
    yield page_file(
        analysis_page(result.analysis, result.pictures, film=result.film, coach=coach, words=words)
    )
    if result.film is not None:
        yield ResultFile("film.mp4", "film.mp4", MP4, result.film)
    if result.hidden is not None:
        yield from _hidden_files(result.analysis, result.hidden, coach, words)


def _hidden_files(
    analysis: Analysis, drawn: Drawings, coach: FromCoach, words: Words | None
) -> Iterator[ResultFile]:
    """Yield what shows the film once more, with hidden faces."""
    for file, data in sorted(drawn.pictures.items()):
        yield beside(ResultFile(f"pictures/{file}", f"pictures/{file}", JPEG, data))
    yield beside(
        page_file(
            analysis_page(analysis, drawn.pictures, film=drawn.film, coach=coach, words=words)
        )
    )
    if drawn.film is not None:
        yield beside(ResultFile("film.mp4", "film.mp4", MP4, drawn.film))


def beside(file: ResultFile) -> ResultFile:
    """Return a file with hidden faces under the name that it has beside the one with faces."""
    return replace(file, name=hidden_name(file.name), path=hidden_name(file.path))


def document_text(document: Document) -> str:
    """Return a document of the contract as the text that is written and printed."""
    content = document.model_dump(mode="json", by_alias=True)
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


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
            if metric.measurable and CATALOGUE.headline(metric.key)
        ]
    return values


def page_file(html: str) -> ResultFile:
    """Return a report as a file."""
    return ResultFile("report.html", "report.html", HTML, html.encode())


def json_file(name: str, document: Document) -> ResultFile:
    """Return a document of the contract as a file."""
    text = document_text(document).encode()
    return ResultFile(name, f"{name}.json", JSON, text, schema_name(document))


def schema_name(document: Document) -> str | None:
    """Return the file name of the schema that a document states; None for one that states none."""
    stated: str | None = getattr(document, "schema_id", None)
    return stated.removeprefix(SCHEMA_BASE) if stated else None
