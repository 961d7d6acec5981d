"""A plan's page beside which one without faces is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from models.contract.faces import Faces
from models.contract.plan import PracticeRules
from models.contract.tracks import JointTrack
from models.practice.rules import shipped_rules
from tests.unit.derive.test_comparison import source
from tests.unit.derive.test_thresholds import OWN
from tests.unit.pipeline.fakes import PICTURE
from tests.unit.report.conftest import load
from workers.derive import practice
from workers.derive.practice import plan_files
from workers.derive.source import Source
from workers.pipeline.faces import FaceCover
from workers.video.limits import DecodeLimits

NAME = "serve-1-loading.jpg"


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether faces were hidden in each drawing anew."""
    calls: list[bool] = []

    def draw(*_arguments: object, cover: FaceCover | None, **_more: object) -> Mapping[str, bytes]:
        calls.append(cover is not None)
        return {}

    def cover(track: JointTrack) -> FaceCover:
        return FaceCover(track, lambda _: ())

    monkeypatch.setattr(practice, "draw_pictures", draw)
    monkeypatch.setattr(practice, "face_cover", cover)
    return calls


def material(film: Path | None = None, hidden: bytes | None = None) -> Source:
    plain = source(load("right_side"), "ana", film)
    beside = {} if hidden is None else {NAME: hidden}
    return replace(plain, pictures=lambda: {NAME: PICTURE}, hidden_pictures=lambda: beside)


def pages(
    one: Source, *, also_hidden: bool = True, rules: PracticeRules | None = None
) -> list[str]:
    rules = rules or shipped_rules()
    _, files = plan_files(rules, [one], DecodeLimits(), also_hidden=also_hidden)
    return [file.data.decode() for file in files if file.name.endswith("report.html")]


def test_stored_pictures_without_faces_are_taken(drawn: list[bool]) -> None:
    other = PICTURE + b"\0"
    shown, hidden = pages(material(hidden=other))
    assert shown != hidden
    assert drawn == []
    assert len(pages(material(hidden=other), also_hidden=False)) == 1


def test_of_an_older_analysis_the_page_has_no_picture(drawn: list[bool]) -> None:
    shown, hidden = pages(material())
    assert "data:image/jpeg" in shown
    assert "data:image/jpeg" not in hidden
    assert drawn == []


def test_pictures_that_hide_faces_already_serve_both(drawn: list[bool]) -> None:
    one = material()
    secret = replace(one, analysis=one.analysis.model_copy(update={"faces": Faces.HIDDEN}))
    first, second = pages(secret)
    assert first == second
    assert "data:image/jpeg" in first
    assert drawn == []


def test_rules_of_ones_own_have_both_sets_drawn_anew(drawn: list[bool], tmp_path: Path) -> None:
    pages(material(film=tmp_path / "film.mp4"), rules=OWN)
    assert drawn == [False, True]
