"""A client that a code generator makes from the OpenAPI document compiles, and works."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

from tests.integration.clients.conftest import Running
from tests.integration.clients.generated import DOCUMENT, check_types, generate, tell
from tests.unit.report.conftest import Case


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return generate(tmp_path_factory.mktemp("generated"))


def test_each_operation_and_schema_is_there(package: Path) -> None:
    spec = json.loads(DOCUMENT.read_text("utf-8"))
    operations = [op["operationId"] for item in spec["paths"].values() for op in item.values()]
    modules = {path.stem for path in (package / "api").rglob("*.py")} - {"__init__"}
    assert modules == set(operations)
    classes = {
        statement.name
        for path in (package / "models").glob("*.py")
        for statement in ast.parse(path.read_text("utf-8")).body
        if isinstance(statement, ast.ClassDef)
    }
    # What only a webhook body holds is made into classes, too: a receiver wants it.
    named = {
        name
        for name, schema in spec["components"]["schemas"].items()
        if schema.get("type") == "object" or "enum" in schema
    }
    assert named - classes == set()
    # A number at its end is how the generator tells two things of one name apart.
    assert [name for name in classes if re.search(r"\d$", name)] == []


def test_types_hold(package: Path) -> None:
    assert check_types(package.parent).startswith("Success: no issues found in ")


def test_story_is_told(
    package: Path, running: Running, films: tuple[Path, Path], case: Case
) -> None:
    told = tell(package.parent, running.url, running.key, films, [])
    repetition = case.analysis.repetitions[0]
    assert told.splitlines() == [
        f"repetitions: {len(case.analysis.repetitions)}",
        "events: " + " ".join(repetition.events),
        f"measured: {sum(metric.measurable for metric in repetition.metrics)}",
        "clips: 1",
        *[line for line in told.splitlines() if line.startswith("compared: ")],
        "report: True",
        "after erasing: not_found",
    ]
    assert int(told.partition("compared: ")[2].split()[0]) > 5
