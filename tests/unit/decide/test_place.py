from __future__ import annotations

from datetime import UTC, datetime

import pytest

from models.contract.analysis import Analysis, ViewEstimate
from models.contract.comparison import Verdict
from models.contract.progress import SessionKind
from models.contract.vocabulary import View
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare
from workers.decide.place import one_place, read_alike, strays
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses


def film(value: float, azimuth: float, *, rate: float = 60.0, view: View = View.SIDE) -> Analysis:
    """One serve: an interval of 10 degrees to both sides, of which 2 are the film's own."""
    knee = metric("front_knee_flexion", value, half=10.0).model_copy(update={"repeat_sd": 1.0})
    found = analysis(repetition(knee))
    return found.model_copy(
        update={
            "view": ViewEstimate(label=view, azimuth_deg=azimuth),
            "clip": found.clip.model_copy(update={"frame_rate": rate}),
        }
    )


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (film(0, 95.0), True),
        (film(0, 106.0), False),
        (film(0, 90.0, rate=30.0), False),
        (film(0, 90.0, view=View.REAR_QUARTER), False),
    ],
)
def test_one_place_is_one_view_nearly_one_azimuth_and_one_class_of_rate(
    other: Analysis, same: bool
) -> None:
    assert one_place([film(0, 90.0), other]) is same


def test_azimuths_are_compared_round_the_circle() -> None:
    behind = [film(0, azimuth, view=View.BEHIND) for azimuth in (176.0, -178.0)]
    assert one_place(behind)


def test_joints_from_elsewhere_are_never_one_place() -> None:
    unknown = film(0, 0.0).model_copy(update={"view": ViewEstimate(label=View.UNKNOWN)})
    assert not one_place([unknown, unknown])


@pytest.mark.parametrize(
    ("azimuth", "same_player", "verdict"),
    [
        (92.0, True, Verdict.SURELY_CHANGED),
        (92.0, False, Verdict.NO_CHANGE_SEEN),
        (107.0, True, Verdict.NO_CHANGE_SEEN),
    ],
)
def test_shared_errors_drop_out_for_one_player_from_one_place_only(
    azimuth: float, same_player: bool, verdict: Verdict
) -> None:
    sides = Group("a", (("a", film(50, 90.0)),)), Group("b", (("b", film(58, azimuth)),))
    result = compare(*sides, same_player=same_player)
    assert result.differences[0].verdict is verdict
    assert result.shared_errors_dropped is (verdict is Verdict.SURELY_CHANGED)
    assert result.differences[0].typical_error == pytest.approx(
        1.0 if verdict is Verdict.SURELY_CHANGED else 10.0 / 1.96, rel=1e-3
    )


def test_the_one_film_from_elsewhere_is_named() -> None:
    films = [film(50, azimuth, view=View.BEHIND) for azimuth in (186.0, 340.0, 187.0, -172.0)]
    assert strays(films) == [1]
    groups = (
        Group("a", tuple((f"a{i}", one) for i, one in enumerate(films))),
        Group("b", (("b", films[0]),)),
    )
    notes = compare(*groups, same_player=True).notes
    assert any("but these look from one place: a1." in note.text for note in notes)
    assert not any("but these" in note.text for note in compare(*groups).notes)


@pytest.mark.parametrize("azimuths", [(90.0, 90, 90), (90, 90, 150, 150), (90, 91, 92, 93)])
def test_no_film_is_named_where_the_others_share_no_place_or_all_do(
    azimuths: tuple[float, ...],
) -> None:
    assert strays([film(50, azimuth) for azimuth in azimuths]) == []


def on_border(value: float, view: View, correction: float, method: str = "fit") -> Analysis:
    """A film from an azimuth of 71 or 73 degrees: the border lies at 72."""
    found = film(value, 71.0 if view is View.FRONT_QUARTER else 73.0, view=view)
    knee = found.repetitions[0].metrics[0]
    knee = knee.model_copy(update={"correction": correction, "method": method})
    return found.model_copy(
        update={"repetitions": (found.repetitions[0].model_copy(update={"metrics": (knee,)}),)}
    )


def test_a_border_between_two_views_makes_no_change() -> None:
    """Seen: 50 and 50.5 degrees. Less the bias of each view, 47 and 52.5."""
    side, quarter = on_border(47, View.SIDE, 3), on_border(52.5, View.FRONT_QUARTER, -2)
    read = read_alike([side, side, quarter])
    assert {a.view.label for a in read} == {View.SIDE}
    knees = [a.repetitions[0].metrics[0] for a in read]
    assert [(k.value, k.low, k.high) for k in knees] == [(47, 37, 57)] * 2 + [(47.5, 37.5, 57.5)]
    assert {k.correction for k in knees} == {3}
    groups = Group("a", (("a", side), ("b", side))), Group("b", (("c", quarter),))
    result = compare(*groups, same_player=True)
    assert result.shared_errors_dropped
    assert result.differences[0].difference == pytest.approx(0.5)
    assert any("border of two named positions" in note.text for note in result.notes)
    apart = compare(*groups)
    assert apart.differences[0].difference == pytest.approx(5.5)
    assert not any("border" in note.text for note in apart.notes)


def test_a_metric_measured_in_two_ways_keeps_its_whole_uncertainty() -> None:
    side, quarter = on_border(47, View.SIDE, 3), on_border(52, View.FRONT_QUARTER, -2, "lift")
    knees = [a.repetitions[0].metrics[0] for a in read_alike([side, quarter])]
    assert [k.value for k in knees] == [47, 52]
    assert [k.repeat_sd for k in knees] == [None, None]


def test_films_from_other_places_come_back_as_they_are() -> None:
    far = [film(47, 80.0), film(50, 50.0, view=View.FRONT_QUARTER)]
    assert read_alike(far) == far
    assert read_alike([]) == []


def test_progress_reads_films_on_a_border_alike() -> None:
    days = [datetime(2026, 5, day, tzinfo=UTC) for day in (1, 2)]
    sessions = [
        SessionAnalyses("a", SessionKind.BASELINE, days[0], (on_border(47, View.SIDE, 3),)),
        SessionAnalyses(
            "b", SessionKind.ACQUISITION, days[1], (on_border(52.5, View.FRONT_QUARTER, -2),)
        ),
    ]
    found = progress("p", sessions, now=days[1])
    assert found.metrics[0].gain == pytest.approx(0.5)
