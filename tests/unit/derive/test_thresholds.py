"""A coach's own threshold rules plan, pictures and pairs: one source, the rules."""

from __future__ import annotations

from pathlib import Path

import pytest

from models.practice.rules import shipped_rules
from tests.films import write_film
from tests.unit.derive.test_comparison import source
from tests.unit.report.conftest import Case, load
from workers.derive.comparison import ComparedSide, comparison_files
from workers.derive.practice import plan_files
from workers.video.limits import DecodeLimits

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
