"""Documents of version 1, whose sentences are bare, are read; their schemas stay as they were."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import BaseModel, ValidationError

from models.contract.analysis import Analysis
from models.contract.comparison import Comparison
from models.contract.note import WRITTEN
from models.contract.plan import DrillOutcome, PracticePlan
from models.contract.progress import Progress
from models.contract.resources import Metrics
from models.contract.schemas import rendered
from tests.unit.version_1 import DATA

DOCUMENTS: dict[str, tuple[type[BaseModel], str]] = {
    "analysis": (Analysis, "result.json"),
    "metrics": (Metrics, "metrics.json"),
    "comparison": (Comparison, "comparison.json"),
    "progress": (Progress, "progress.json"),
    "practice-plan": (PracticePlan, "practice-plan.json"),
    "drill-outcome": (DrillOutcome, "drill-outcome.json"),
}
SCHEMAS_V1 = {
    "analysis": "3f8109ebdf10f887df644b3c4eb12dc89f6b3892c59c1a1229f3a976d0f6aff1",
    "metrics": "701b35c4bd17d0eff6fef9b03d3b65d809019271e8fd75bd1e06f02831666caa",
    "comparison": "602dc388f1360e3978fe0966a3b0582a6c507dc3524c1d055e807700adb25c1c",
    "progress": "6c32235853048719f32a31bbb324c03641be0b4591e7777fd51c0ad00ae6a9ed",
    "practice-plan": "b2e7c40f5ef95c782c6044ee1afb1641f506bcb6ed354c4eeed5c19583c28956",
    "drill-outcome": "8bb5bec3a49d756a4ad7b474142b3058792d3c55cab9df2267e962af3dceaba6",
    "player": "9aedd333567697ed7fb25e98f9828b38c2187b88067864c6959232ae2b40efb4",
}
NOW = {"analysis": 2, "metrics": 2}
"""Version that is written now, where it is not 3."""
every = pytest.mark.parametrize("name", DOCUMENTS)


def stored(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((DATA / DOCUMENTS[name][1]).read_text("utf-8"))
    return document


@pytest.mark.parametrize("name", SCHEMAS_V1)
def test_the_schemas_of_version_1_are_served_as_they_were(name: str) -> None:
    text = rendered(f"{name}.v1.json")
    assert hashlib.sha256(text.encode()).hexdigest() == SCHEMAS_V1[name]


@every
def test_a_stored_document_becomes_one_of_now_and_loses_no_sentence(name: str) -> None:
    before = stored(name)
    Draft202012Validator(json.loads(rendered(f"{name}.v1.json"))).validate(before)
    after = json.loads(DOCUMENTS[name][0].model_validate(before).model_dump_json(by_alias=True))
    now = NOW.get(name, 3)
    assert after["schema"].endswith(f"/{name}.v{now}.json")
    Draft202012Validator(json.loads(rendered(f"{name}.v{now}.json"))).validate(after)
    assert [note["text"] for note in after["cautions"]] == before["cautions"]
    cautions = [note["code"] for note in after["cautions"][:3]]
    assert cautions == ["estimates_from_film", "not_medical_advice", "local_rules_first"]
    assert [note["text"] for note in notes(after)] == sentences(before)


@pytest.mark.parametrize(
    ("before", "now"),
    [
        ("changed", "surely_changed"),
        ("within_noise", "no_change_seen"),
        ("not_comparable", "cannot_tell"),
    ],
)
def test_verdicts_of_earlier_versions_are_read(before: str, now: str) -> None:
    document = stored("comparison")
    document["differences"][0]["verdict"] = before
    assert Comparison.model_validate(document).differences[0].verdict.value == now


def sentences(node: Any) -> list[str]:
    """Return the reasons and the details of checks in a document of version 1."""
    if isinstance(node, list):
        return [text for part in node for text in sentences(part)]
    if not isinstance(node, dict):
        return []
    own = [node["reason"]] if node.get("reason") else []
    own += [check["detail"] for check in node.get("checks", ())]
    return own + [text for part in node.values() for text in sentences(part)]


def notes(node: Any) -> list[dict[str, Any]]:
    """Return the same of a document of now."""
    if isinstance(node, list):
        return [note for part in node for note in notes(part)]
    if not isinstance(node, dict):
        return []
    own = [node["reason"]] if node.get("reason") else []
    own += [check["detail"] for check in node.get("checks", ())]
    return own + [note for part in node.values() for note in notes(part)]


def test_a_sentence_that_names_something_stays_as_it_was_written() -> None:
    analysis = Analysis.model_validate(stored("analysis"))
    reasons = [m.reason for m in analysis.repetitions[0].metrics if m.reason]
    assert {reason.code for reason in reasons} == {WRITTEN}


def test_there_are_reasons_in_the_stored_documents() -> None:
    for name in ("analysis", "metrics", "comparison", "progress", "drill-outcome"):
        assert sentences(stored(name)), name


@every
def test_a_document_that_states_no_version_is_read(name: str) -> None:
    document, model = stored(name), DOCUMENTS[name][0]
    whole = model.model_validate(document)
    del document["schema"]
    assert model.model_validate(document) == whole


@every
def test_a_version_that_is_not_known_is_refused(name: str) -> None:
    document = stored(name)
    document["schema"] = document["schema"].replace("v1", "v9")
    with pytest.raises(ValidationError, match="schema"):
        DOCUMENTS[name][0].model_validate(document)
