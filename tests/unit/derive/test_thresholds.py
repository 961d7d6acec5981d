"""A coach's own threshold rules plan, pictures and pairs: one source, the rules."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from models.practice.rules import shipped_rules, thresholds_of
from tests.films import write_film
from tests.unit.derive.test_comparison import source
from tests.unit.report.conftest import Case, load
from workers.derive.comparison import ComparedSide, comparison_files
from workers.derive.practice import plan_files
from workers.derive.source import Source
from workers.pipeline.run import with_rules
from workers.report.annotated_film import annotated_film
from workers.report.pictures import event_pictures
from workers.video.limits import DecodeLimits

_PICTURE = io.BytesIO()
Image.new("RGB", (8, 8)).save(_PICTURE, "JPEG")
JPEG = {"serve-1-loading.jpg": _PICTURE.getvalue()}
SHIPPED = shipped_rules()
OWN = SHIPPED.model_copy(
    update={
        "findings": tuple(
            f.model_copy(update={"value": 0.35}) if f.id == "weight_not_on_rear_foot" else f
            for f in SHIPPED.findings
        )
    }
)


@pytest.fixture(scope="module")
def case() -> Case:
    return load("right_side")


@pytest.fixture(scope="module")
def film(case: Case, tmp_path_factory: pytest.TempPathFactory) -> Path:
    facts, picture = case.analysis.clip, next(iter(case.frames.values()))
    path = tmp_path_factory.mktemp("film") / "0.mp4"
    rate = round(facts.frame_rate)
    return write_film(path, facts.frames, rate=rate, paint=lambda _index: picture)


def _plan(case: Case, film: Path | None, rules) -> tuple[set[str], str]:
    plan, files = plan_files(rules, [source(case, "a", film)], DecodeLimits())
    named = {f.finding.id for f in (plan.focus, *plan.others) if f is not None}
    return named, files[1].data.decode()


def test_a_plan_draws_its_pictures_by_its_own_rules(case: Case, film: Path) -> None:
    # The serve has 43 % (37 to 49) over the rear foot: short of 60 %, past 35 %.
    named, shipped = _plan(case, film, SHIPPED)
    assert "weight_not_on_rear_foot" in named
    assert "data:image/jpeg" not in shipped  # the stored pictures do: there are none here
    named, own = _plan(case, film, OWN)
    assert "weight_not_on_rear_foot" not in named
    assert own.count("data:image/jpeg") >= 4
    _, gone = _plan(case, None, OWN)
    assert "data:image/jpeg" not in gone


def test_a_pair_draws_the_goal_of_its_rules(case: Case, film: Path) -> None:
    sides = [ComparedSide(name, (source(case, name, film),)) for name in ("before", "after")]
    found = []
    for rules in (SHIPPED, OWN):
        _, files = comparison_files(*sides, DecodeLimits(), film=False, rules=rules)
        found.append({f.name: f.data for f in files}["pictures/pair-loading-plain.jpg"])
    assert found[0] != found[1]


def test_pictures_and_film_of_an_analysis_show_the_goal_of_its_own_rules(case: Case) -> None:
    shown = case.track, (case.body,), (case.centre_of_mass,)
    pictures, films = [], []
    for analysis in (case.analysis, with_rules(case.analysis, OWN)):
        pictures.append(event_pictures(case.frames, analysis, *shown))
        films.append(annotated_film(sorted(case.frames.items()), analysis, *shown))
    assert pictures[0]["serve-1-loading.jpg"] != pictures[1]["serve-1-loading.jpg"]
    assert films[0] != films[1]
    given = event_pictures(case.frames, case.analysis, *shown, thresholds=thresholds_of(OWN))
    assert given == pictures[1]


def test_a_plan_by_the_rules_of_the_analysis_takes_its_stored_pictures(case: Case) -> None:
    ruled = with_rules(case.analysis, OWN)
    stored = Source("a", ruled, lambda: (case.track, (case.body,)), lambda: None, lambda: JPEG)
    _, files = plan_files(OWN, [stored], DecodeLimits())
    assert "data:image/jpeg" in files[1].data.decode()
    _, files = plan_files(SHIPPED, [stored], DecodeLimits())
    assert "data:image/jpeg" not in files[1].data.decode()  # the film is gone
