"""compare, progress, plan, drill-check and report, on folders that analyse wrote."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml

from models.contract.comparison import Comparison
from models.contract.plan import DrillOutcome, PracticePlan
from models.contract.progress import Progress
from models.contract.session_values import SessionValues
from tests.unit.cli.conftest import Invoke
from tests.unit.joints_v1 import as_version_1
from tests.unit.report.conftest import Case, load
from tests.unit.version_1 import result_folder
from workers.pipeline.result_files import result_files
from workers.pipeline.run import PipelineResult


@pytest.fixture(scope="module")
def cases() -> tuple[Case, Case]:
    return load("right_side"), load("left_front_quarter")


@pytest.fixture
def folders(cases: tuple[Case, Case], tmp_path: Path) -> list[Path]:
    """Return two result folders."""
    made = []
    for name, case in zip(("before", "after"), cases, strict=True):
        folder = tmp_path / name
        folder.mkdir()
        for file in result_files(PipelineResult(case.analysis, case.track, (case.body,))):
            (folder / file.path).write_bytes(file.data)
        made.append(folder)
    return made


def test_compare(invoke: Invoke, folders: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    shown = invoke("compare", *map(str, folders), "--first-label", "May", "--out", str(out))
    assert shown.exit_code == 0, shown.output
    assert "no change seen" in shown.stdout
    found = Comparison.model_validate_json((out / "result.json").read_bytes())
    assert (found.first.label, found.second.label) == ("May", "after")
    assert "May" in (out / "report.html").read_text()
    assert any("not at hand" in note.text for note in found.notes)


def test_joints_of_the_earlier_version_are_compared_alike(
    invoke: Invoke, folders: list[Path]
) -> None:
    now = invoke("compare", *map(str, folders), "--json").stdout
    for folder in folders:
        stored = folder / "joints.json"
        stored.write_bytes(as_version_1(stored.read_bytes()))
    assert invoke("compare", *map(str, folders), "--json").stdout == now


def test_results_of_version_1_are_compared_planned_and_reported(
    invoke: Invoke, folders: list[Path], tmp_path: Path
) -> None:
    earlier = [result_folder(tmp_path / name) for name in ("one", "two")]
    shown = invoke("compare", *map(str, earlier), "--json")
    assert shown.exit_code == 0, shown.output
    found = Comparison.model_validate_json(shown.stdout)
    reasons = {row.key: str(row.reason) for row in found.differences if row.reason}
    assert "do not resolve this movement; film at 50" in reasons["front_knee_extension_speed"]
    assert any(row.verdict == "no_change_seen" for row in found.differences)
    mixed = invoke("compare", str(earlier[0]), str(folders[0]))
    assert mixed.exit_code == 0, mixed.output
    out = tmp_path / "out"
    planned = invoke("plan", str(earlier[0]), "--out", str(out))
    assert planned.exit_code == 0, planned.output
    assert PracticePlan.model_validate_json((out / "result.json").read_bytes()).focus is not None
    reported = invoke("report", str(earlier[0]), "--plan")
    assert reported.exit_code == 0, reported.output
    assert "do not resolve this movement" in (earlier[0] / "report.html").read_text()


def test_progress_over_results_of_version_1(invoke: Invoke, tmp_path: Path) -> None:
    for name in ("one", "two"):
        result_folder(tmp_path / name)
    sessions = [
        {"kind": "baseline", "filmed_at": "2026-05-04T09:00:00Z", "results": ["one"]},
        {"kind": "acquisition", "filmed_at": "2026-05-05T09:00:00Z", "results": ["two"]},
    ]
    (tmp_path / "sessions.yaml").write_text(yaml.safe_dump(sessions))
    shown = invoke("progress", str(tmp_path), "--json")
    assert shown.exit_code == 0, shown.output
    found = Progress.model_validate_json(shown.stdout)
    assert found.metrics[0].series[0].session == "2026-05-04"


def test_compare_with_a_focus(invoke: Invoke, folders: list[Path]) -> None:
    shown = invoke("compare", *map(str, folders), "--json", "--focus", "elbow_flexion@contact")
    found = Comparison.model_validate_json(shown.stdout)
    assert [(row.key, row.event) for row in found.differences if row.focus] == [
        ("elbow_flexion", "contact")
    ]
    table = invoke("compare", *map(str, folders), "--focus", "elbow_flexion@contact").stdout
    assert "seen from" in table
    assert "a smaller one may go" in table


def test_a_focus_that_is_no_metric_is_refused_with_what_there_is(
    invoke: Invoke, folders: list[Path]
) -> None:
    shown = invoke("compare", *map(str, folders), "--focus", "elbow_flexon")
    assert shown.exit_code != 0
    assert "elbow_flexion" in shown.stderr


def test_json_is_the_document_and_nothing_else(
    invoke: Invoke, folders: list[Path], tmp_path: Path
) -> None:
    shown = invoke("compare", *map(str, folders), "--json")
    assert Comparison.model_validate_json(shown.stdout).first.repetitions == 1
    assert not (tmp_path / "comparison").exists()
    planned = invoke("plan", str(folders[0]), "--json")
    assert PracticePlan.model_validate_json(planned.stdout).rules.startswith("Servewright")


def test_progress_over_a_sessions_file(invoke: Invoke, folders: list[Path], tmp_path: Path) -> None:
    sessions = [
        {"kind": "baseline", "filmed_at": "2026-05-04T09:00:00Z", "results": ["before"]},
        {"kind": "acquisition", "filmed_at": "2026-05-05T09:00:00Z", "results": ["after"]},
    ]
    (tmp_path / "sessions.yaml").write_text(yaml.safe_dump(sessions))
    out = tmp_path / "progress"
    shown = invoke("progress", str(tmp_path), "--player", "Member 4", "--out", str(out))
    assert shown.exit_code == 0, shown.output
    found = Progress.model_validate_json((out / "result.json").read_bytes())
    assert found.player == "Member 4"
    assert [point.session for point in found.metrics[0].series] == ["2026-05-04", "2026-05-05"]
    assert "Member 4" in (out / "report.html").read_text()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("- {kind: baseline}", "filmed_at"),
        ("- {kind: other, filmed_at: 2026-05-04T09:00:00Z, results: [a]}", "kind"),
        ("- {kind: baseline, filmed_at: 2190-05-04T09:00:00Z, results: [a]}", "in the future"),
        ("[]", "no session"),
        ("[", "YAML"),
    ],
)
def test_wrong_sessions_file_names_the_place(
    invoke: Invoke, tmp_path: Path, text: str, said: str
) -> None:
    (tmp_path / "sessions.yaml").write_text(text)
    shown = invoke("progress", str(tmp_path))
    assert shown.exit_code == 2
    assert said in shown.stderr


def test_plan_by_own_rules(invoke: Invoke, folders: list[Path], tmp_path: Path) -> None:
    rules = tmp_path / "rules.yaml"
    rules.write_text("name: Mine\nremove: [weight_not_on_rear_foot]\n")
    out = tmp_path / "plan"
    shown = invoke("plan", str(folders[0]), "--rules", str(rules), "--out", str(out))
    assert shown.exit_code == 0, shown.output
    assert PracticePlan.model_validate_json((out / "result.json").read_bytes()).rules == "Mine"
    rules.write_text("name: Mine\nfindings: [{id: a}]\n")
    refused = invoke("plan", str(folders[0]), "--rules", str(rules))
    assert refused.exit_code == 2
    assert "findings" in refused.stderr


def test_session_values(invoke: Invoke, folders: list[Path], tmp_path: Path) -> None:
    shown = invoke("session-values", *map(str, folders), "--out", str(tmp_path / "s"))
    assert shown.exit_code == 0, shown.output
    assert "Place 1: from the side" in shown.stdout
    found = SessionValues.model_validate_json((tmp_path / "s" / "result.json").read_bytes())
    assert [place.analyses for place in found.places] == [("before",), ("after",)]
    assert any(len(value.places) == 2 for value in found.values)
    page = (tmp_path / "s" / "report.html").read_text("utf-8")
    assert "from the side" in page
    own = ("--player", "Mira", "--message", "Feet first.", "--language", "de")
    german = invoke("session-values", str(folders[0]), *own, "--out", str(tmp_path / "g"))
    page = (tmp_path / "g" / "report.html").read_text("utf-8")
    assert "Mira" in page
    assert "Feet first." in page
    assert "Dein Termin, gemessen" in page
    assert "von einem Platz gefilmt" in " ".join(german.stdout.split())
    document = invoke("session-values", str(folders[0]), "--json", "--minor").stdout
    codes = [one["code"] for one in json.loads(document)["cautions"]]
    assert "minor_may_be_growing" in codes


def test_drill_check(invoke: Invoke, folders: list[Path]) -> None:
    named = ("--finding", "weight_not_on_rear_foot", "--drill", "hold_loaded")
    shown = invoke("drill-check", str(folders[0]), *named, "--json")
    assert shown.exit_code == 0, shown.output
    outcome = DrillOutcome.model_validate_json(shown.stdout)
    assert outcome.decision == "film_again"  # the clip shows a serve
    wrong = invoke("drill-check", str(folders[0]), "--finding", "none", "--drill", "hold_loaded")
    assert wrong.exit_code == 2
    assert "weight_not_on_rear_foot" in wrong.stderr


def test_report_is_written_anew_with_a_plan(invoke: Invoke, folders: list[Path]) -> None:
    page = folders[0] / "report.html"
    before = page.read_text()
    shown = invoke("report", str(folders[0]), "--plan", "--player", "Member 4")
    assert shown.exit_code == 0, shown.output
    assert "Member 4" in page.read_text()
    assert page.read_text() != before


def test_film_is_known_by_its_digest(folders: list[Path], tmp_path: Path) -> None:
    """Pictures must never be drawn on another clip, whatever its name."""
    from workers.cli.result_folder import find_film

    wanted = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"  # of b"test"
    (tmp_path / "before.mp4").write_bytes(b"another")
    assert find_film(folders[0], wanted) is None
    (tmp_path / "renamed.mov").write_bytes(b"test")
    assert find_film(folders[0], wanted) == tmp_path / "renamed.mov"
    assert find_film(folders[0], None) is None


@pytest.mark.parametrize("content", [None, "{}", json.dumps({"schema": "other"})])
def test_folder_without_a_result_is_refused(
    invoke: Invoke, tmp_path: Path, content: str | None
) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    if content is not None:
        (folder / "result.json").write_text(content)
    shown = invoke("plan", str(folder))
    assert shown.exit_code == 2
    assert "nalyse" in shown.stderr


def test_all_of_it_in_german(invoke: Invoke, folders: list[Path], tmp_path: Path) -> None:
    german = ("--language", "de", "--out", str(tmp_path / "out"))
    compared = invoke("compare", *map(str, folders), *german)
    assert compared.exit_code == 0, compared.output
    assert "keine Änderung zu sehen" in compared.stdout
    assert "vorher" in compared.stdout
    assert "no change seen" not in compared.stdout
    page = (tmp_path / "out" / "report.html").read_text()
    assert '<html lang="de"' in page
    assert "Was sich sagen lässt" in page
    planned = invoke("plan", str(folders[0]), *german)
    assert "Kein ärztlicher Rat" in planned.stdout
    assert "Dein Übungsplan" in (tmp_path / "out" / "report.html").read_text()
    refused = invoke("compare", *map(str, folders), "--focus", "nonsense", "--language", "de")
    assert "Anfrage nicht gültig" in refused.stderr
    assert "Ein Messwert nonsense ist nicht bekannt" in refused.stderr
    refused = invoke("plan", str(tmp_path), "--done", "nothing", "--language", "de")
    assert "In den Regeln fehlt: nothing." in refused.stderr
    (tmp_path / "empty").mkdir()
    refused = invoke("plan", str(tmp_path / "empty"), "--language", "de")
    assert "enthält kein Ergebnis" in refused.stderr
