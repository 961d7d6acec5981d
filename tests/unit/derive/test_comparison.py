"""Comparison files from two finished analyses: truth of two rendered clips, a right-hander filmed
from the side and a left-hander from the front quarter (CC0), with one of the films at hand.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import av
import pytest

from models.contract.comparison import Comparison
from models.contract.faces import Faces
from models.contract.joints import Joints, read_joints
from models.contract.tracks import JointTrack
from tests.films import write_film
from tests.unit.report.conftest import Case, load
from workers.derive import comparison
from workers.derive.comparison import ComparedSide, comparison_files, headline
from workers.derive.source import Source
from workers.pipeline.faces import FaceCover
from workers.pipeline.result_files import ResultFile
from workers.video.limits import DecodeLimits


@pytest.fixture(scope="module")
def cases() -> tuple[Case, Case]:
    return load("right_side"), load("left_front_quarter")


def source(case: Case, name: str, film: Path | None) -> Source:
    """Return a source whose joints went through the document that is stored."""
    document = Joints.of(case.track, (case.body,))
    stored = read_joints(document.model_dump_json(by_alias=True))
    return Source(
        name=name,
        analysis=case.analysis,
        joints=lambda: (case.track, stored.motions(1)),
        film=lambda: film,
        pictures=dict,
    )


@pytest.fixture(scope="module")
def films(cases: tuple[Case, Case], tmp_path_factory: pytest.TempPathFactory) -> list[Path | None]:
    """Return still films of the same size, rate and length as the clips."""
    folder = tmp_path_factory.mktemp("films")
    made: list[Path | None] = []
    for number, case in enumerate(cases):
        facts = case.analysis.clip
        picture = next(iter(case.frames.values()))
        made.append(
            write_film(
                folder / f"{number}.mp4",
                facts.frames,
                rate=round(facts.frame_rate),
                paint=lambda _index, picture=picture: picture,
            )
        )
    return made


def sides(cases: tuple[Case, Case], paths: list[Path | None]) -> list[ComparedSide]:
    return [
        ComparedSide(name, (source(case, f"ana_{name}", path),))
        for name, case, path in zip(("before", "after"), cases, paths, strict=True)
    ]


def test_document_report_pictures_and_film(
    cases: tuple[Case, Case], films: list[Path | None], tmp_path: Path
) -> None:
    first, second = sides(cases, films)
    found, files = comparison_files(first, second, DecodeLimits())
    by_name = {file.name: file for file in files}
    assert {"result", "report.html", "film.mp4", "pictures/pair-loading.jpg"} <= set(by_name)
    assert Comparison.model_validate_json(by_name["result"].data) == found
    assert found.mirrored
    assert found.first.analyses == ("ana_before",)
    page = by_name["report.html"].data.decode()
    assert "data:image/jpeg" in page
    assert "<svg" in page
    path = tmp_path / "film.mp4"
    path.write_bytes(by_name["film.mp4"].data)
    with av.open(str(path)) as film:
        stream = film.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
    told = headline(found)
    assert told["surely_changed"] == len(told["changes"])
    assert json.dumps(told)


def test_without_films_it_says_so(cases: tuple[Case, Case]) -> None:
    first, second = sides(cases, [None, None])
    found, files = comparison_files(first, second, DecodeLimits(), minor=True)
    assert {file.name for file in files} == {"result", "report.html"}
    assert any("not at hand" in note.text for note in found.notes)
    assert any("under 18" in caution.text for caution in found.cautions)


def test_film_that_cannot_be_made_is_a_note(
    cases: tuple[Case, Case], films: list[Path | None]
) -> None:
    bare = cases[1].analysis.repetitions[0].model_copy(update={"events": {}})
    analysis = cases[1].analysis.model_copy(update={"repetitions": (bare,)})
    eventless = dataclasses.replace(cases[1], analysis=analysis)
    first, second = sides((cases[0], eventless), films)
    found, files = comparison_files(first, second, DecodeLimits())
    assert "film.mp4" not in {file.name for file in files}
    assert any("no side-by-side film" in note.text for note in found.notes)


def test_nothing_of_that_kind_on_one_side(cases: tuple[Case, Case]) -> None:
    first, _ = sides(cases, [None, None])
    empty = ComparedSide("after", ())
    found, files = comparison_files(first, empty, DecodeLimits())
    assert {file.name for file in files} == {"result", "report.html"}
    assert headline(found)["surely_changed"] == 0
    assert found.notes


def test_beside_the_files_with_faces_there_are_some_without(
    cases: tuple[Case, Case], films: list[Path | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(comparison, "face_cover", lambda track: FaceCover(track, lambda _: ()))
    first, second = sides(cases, films)
    _, files = comparison_files(first, second, DecodeLimits(), also_hidden=True)
    by_name = {file.name: file for file in files}
    showing = {name for name in by_name if not name.startswith("hidden/")} - {"result"}
    assert {"report.html", "film.mp4", "pictures/pair-loading.jpg"} <= showing
    for name in showing:
        hidden = by_name[f"hidden/{name}"]
        assert hidden.path == f"hidden/{by_name[name].path}"
        assert hidden.data != by_name[name].data, name


def test_a_side_with_hidden_faces_hides_them_in_the_pair(
    cases: tuple[Case, Case], films: list[Path | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    covered: list[int] = []

    def cover(track: JointTrack) -> FaceCover:
        covered.append(track.width)
        return FaceCover(track, lambda _: ())

    monkeypatch.setattr(comparison, "face_cover", cover)
    first, second = sides(cases, films)
    shown = comparison_files(first, second, DecodeLimits(), film=False)[1]
    assert covered == []
    (one,) = first.sources
    asked = one.analysis.model_copy(update={"faces": Faces.HIDDEN})
    secret = ComparedSide("before", (dataclasses.replace(one, analysis=asked),))
    hidden = comparison_files(secret, second, DecodeLimits(), film=False)[1]
    assert len(covered) == 1  # the other side was not asked for
    name = "pictures/pair-loading.jpg"
    assert _named(shown, name) != _named(hidden, name)


def _named(files: tuple[ResultFile, ...], name: str) -> bytes:
    return next(file.data for file in files if file.name == name)
