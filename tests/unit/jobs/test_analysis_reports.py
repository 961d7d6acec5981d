"""What an analysis draws and writes for people: language, cautions, faces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import update

from models.contract.analysis import Analysis as AnalysisDocument
from models.words import Words
from service.core.tables import Clip
from service.core.wiring import Wiring
from tests.films import TESTER, queue_film
from tests.unit.jobs.analysing import always, row, work
from tests.unit.pipeline.fakes import PICTURE, FakeClip, stages


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "film.mp4"
    path.write_bytes(b"the bytes of a film")
    return path


def test_annotated_film_is_made_when_asked_for(wiring: Wiring, film: Path) -> None:
    made = stages(FakeClip(), film=lambda *_arguments: b"a film")
    plain, asked = queue_film(wiring, film), None
    work(wiring, plain, 1, always(made))
    assert "film.mp4" not in row(wiring, plain).artifacts
    film.write_bytes(b"other bytes of a film")
    asked = queue_film(wiring, film, {"annotated_film": True})
    work(wiring, asked, 1, always(made))
    artifact = row(wiring, asked).artifacts["film.mp4"]
    assert artifact["media_type"] == "video/mp4"
    with wiring.objects.open(artifact["key"]) as stream:
        assert stream.read() == b"a film"


def test_report_and_film_are_in_the_language_asked_for(wiring: Wiring, film: Path) -> None:
    said: list[str] = []

    def filmed(
        _path: Path, _analysis: object, _track: object, _found: object, words: Words
    ) -> bytes:
        said.append(words.language)
        return b"a film"

    analysis_id = queue_film(wiring, film, {"annotated_film": True, "language": "de"})
    work(wiring, analysis_id, 1, always(stages(FakeClip(), film=filmed)))
    assert said == ["de"]
    with wiring.objects.open(row(wiring, analysis_id).artifacts["report.html"]["key"]) as stream:
        assert b'<html lang="de"' in stream.read()


def filed_under_a_minor(wiring: Wiring, film: Path, options: dict[str, Any] | None = None) -> str:
    """Return an analysis of a film of a twelve-year-old."""
    with wiring.database.write() as session:
        now = wiring.database.now(session)
        values = {
            "external_id": "a",
            "birth_year": now.year - 12,
            "handedness": "unknown",
            "sex": "unknown",
        }
        player = wiring.players.create(session, TESTER, values)
        facts = {"kind": "baseline", "filmed_at": now}
        filed = wiring.players.create_session(session, TESTER, player.id, facts)
    analysis_id = queue_film(wiring, film, options)
    with wiring.database.write() as session:
        session.execute(update(Clip).values(session_id=filed.id))
    return analysis_id


def test_film_of_a_minor_carries_the_cautions(wiring: Wiring, film: Path) -> None:
    analysis_id = filed_under_a_minor(wiring, film)
    work(wiring, analysis_id, 1, always(stages(FakeClip())))
    key = row(wiring, analysis_id).artifacts["result"]["key"]
    with wiring.objects.open(key) as stream:
        document = AnalysisDocument.model_validate_json(stream.read())
    assert any("under 18" in caution.text for caution in document.cautions)


HIDING: dict[str, Any] = {
    "film": lambda *_arguments: b"a film",
    "draw_hidden": lambda *_arguments: {"serve-1-trophy.jpg": PICTURE + b"without faces"},
    "film_hidden": lambda *_arguments: b"a film without faces",
}
SHOWING = ("report.html", "film.mp4", "pictures/serve-1-trophy.jpg")


def read_all(wiring: Wiring, analysis_id: str) -> dict[str, bytes]:
    """Return the result files that show somebody, by name."""
    found = {}
    for name, artifact in row(wiring, analysis_id).artifacts.items():
        if name.endswith((".html", ".mp4", ".jpg")):
            with wiring.objects.open(artifact["key"]) as stream:
                found[name] = stream.read()
    return found


def test_of_a_minor_there_is_a_second_set_without_faces(wiring: Wiring, film: Path) -> None:
    analysis_id = filed_under_a_minor(wiring, film, {"annotated_film": True})
    work(wiring, analysis_id, 1, always(stages(FakeClip(), **HIDING)))
    found = read_all(wiring, analysis_id)
    assert set(found) == {*SHOWING, *(f"hidden/{name}" for name in SHOWING)}
    for name in SHOWING[1:]:
        assert found[name] != found[f"hidden/{name}"], name
    assert found["hidden/film.mp4"] == b"a film without faces"
    assert found["hidden/pictures/serve-1-trophy.jpg"].endswith(b"without faces")


@pytest.mark.parametrize("minor", [True, False])
def test_faces_are_hidden_when_asked_for_and_then_there_is_one_set(
    wiring: Wiring, film: Path, minor: bool
) -> None:
    options = {"annotated_film": True, "faces": "hidden"}
    queued = filed_under_a_minor if minor else queue_film
    analysis_id = queued(wiring, film, options)
    work(wiring, analysis_id, 1, always(stages(FakeClip(), **HIDING)))
    found = read_all(wiring, analysis_id)
    assert set(found) == set(SHOWING)
    assert found["film.mp4"] == b"a film without faces"
    assert found["pictures/serve-1-trophy.jpg"].endswith(b"without faces")


def test_stages_that_cannot_hide_faces_draw_nothing_instead(wiring: Wiring, film: Path) -> None:
    analysis_id = queue_film(wiring, film, {"annotated_film": True, "faces": "hidden"})
    work(wiring, analysis_id, 1, always(stages(FakeClip(), film=HIDING["film"])))
    assert set(read_all(wiring, analysis_id)) == {"report.html"}
