"""Results of different engines or networks keep their whole uncertainty, and a note says why."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from models.contract.analysis import Analysis, Metric, ModelUse
from models.contract.note_codes import NoteCode
from models.contract.progress import SessionKind
from models.contract.vocabulary import View
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare
from workers.decide.makers import made_alike, maker_notes
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses

NETWORKS = (ModelUse(name="one_network", sha256="1" * 64), ModelUse(name="other", sha256="2" * 64))
NOW, BEFORE = "a" * 64, "b" * 64


def film(
    value: float, identity: str | None = NOW, models: tuple[ModelUse, ...] = NETWORKS
) -> Analysis:
    """One serve from the side whose errors are mostly shared with other films of the place."""
    knee: Metric = metric("front_knee_flexion", value, half=8.0).model_copy(
        update={"repeat_sd": 1.0, "session_sd": 0.5}
    )
    made = analysis(repetition(knee), view=View.SIDE)
    view = made.view.model_copy(update={"azimuth_deg": 90.0})
    return made.model_copy(update={"engine_identity": identity, "models": models, "view": view})


def compared(first: Analysis, second: Analysis):  # type: ignore[no-untyped-def]
    sides = [Group(label, ((label, one),)) for label, one in (("a", first), ("b", second))]
    return compare(*sides, same_player=True)


def test_one_engine_and_one_place_drop_what_films_share() -> None:
    found = compared(film(70.0), film(75.0))
    assert found.shared_errors_dropped
    assert not {NoteCode.ENGINES_DIFFER, NoteCode.NETWORKS_DIFFER} & {n.code for n in found.notes}


@pytest.mark.parametrize("earlier", [BEFORE, None])
def test_another_engine_widens_and_is_named(earlier: str | None) -> None:
    alike, apart = compared(film(70.0), film(75.0)), compared(film(70.0, earlier), film(75.0))
    assert not apart.shared_errors_dropped
    narrow, wide = (one.differences[0].high - one.differences[0].low for one in (alike, apart))  # type: ignore[operator]
    assert wide > 2.0 * narrow
    (said,) = [n for n in apart.notes if n.code == NoteCode.ENGINES_DIFFER]
    assert said.parameters["engines"] == ((earlier or "test")[:12], NOW[:12])


def test_another_network_widens_and_is_named() -> None:
    other = (NETWORKS[0], ModelUse(name="other", sha256="3" * 64))
    apart = compared(film(70.0), film(75.0, models=other))
    assert not apart.shared_errors_dropped
    (said,) = [n for n in apart.notes if n.code == NoteCode.NETWORKS_DIFFER]
    assert said.parameters["networks"] == ("other",)


def test_what_the_engine_learned_is_told_by_its_identity_alone() -> None:
    learned = ModelUse(name="lift", sha256="4" * 64, role="learned")
    assert made_alike([film(70.0, models=(*NETWORKS, learned)), film(75.0)])


def test_old_results_of_one_version_count_as_of_one_engine() -> None:
    assert made_alike([film(70.0, None), film(75.0, None)])
    assert maker_notes([]) == ()


def test_progress_widens_and_names_the_engines() -> None:
    start = datetime(2026, 3, 1, tzinfo=UTC)

    def of(earlier: str):  # type: ignore[no-untyped-def]
        sessions = [
            SessionAnalyses("one", SessionKind.BASELINE, start, (film(70.0, earlier),)),
            SessionAnalyses(
                "two", SessionKind.ACQUISITION, start + timedelta(days=1), (film(75.0),)
            ),
        ]
        return progress("player", sessions, now=start + timedelta(days=2))

    alike, apart = of(NOW), of(BEFORE)
    assert apart.metrics[0].gain == alike.metrics[0].gain
    assert apart.metrics[0].gain_mdc95 > 2.0 * alike.metrics[0].gain_mdc95  # type: ignore[operator]
    assert NoteCode.ENGINES_DIFFER in {n.code for n in apart.notes}
    assert NoteCode.ENGINES_DIFFER not in {n.code for n in alike.notes}
    assert NoteCode.CAMERA_MOVED not in {n.code for n in apart.notes}
