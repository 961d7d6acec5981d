"""One value a metric of a session filmed from several places."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from models.contract.analysis import Analysis, Metric
from models.contract.comparison import Verdict
from models.contract.interval import Z95
from models.contract.progress import SessionKind
from models.contract.views import SecondView
from models.contract.vocabulary import RepetitionKind, View
from models.words import catalogue
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare
from workers.decide.placed import placed, side_difference, side_mean
from workers.decide.places import ALIKE, PlaceMean, place_mean, places_of, together
from workers.decide.progress import progress
from workers.decide.session_values import session_values
from workers.decide.sessions import SessionAnalyses

SERVE = RepetitionKind.SERVE
T0 = datetime(2026, 3, 2, 10, tzinfo=UTC)
KNEE = "front_knee_flexion"
TURN = "pelvis_turn_absolute"
BOTH = SecondView(
    offset_s=0.0,
    offset_low=-0.01,
    offset_high=0.01,
    apart_deg=80.0,
    apart_low=75.0,
    apart_high=85.0,
    synchronised_by="movement",
)


def film(
    *metrics: Metric, azimuth: float | None = 90.0, view: View = View.SIDE, **more: Any
) -> Analysis:
    made = analysis(repetition(*metrics), view=view)
    place = made.view.model_copy(update={"azimuth_deg": azimuth})
    return made.model_copy(update={"view": place} | more)


def from_side(*metrics: Metric, azimuth: float = 90.0) -> Analysis:
    return film(*metrics, azimuth=azimuth)


def from_front(*metrics: Metric, azimuth: float = 50.0) -> Analysis:
    return film(*metrics, azimuth=azimuth, view=View.FRONT_QUARTER)


def named(*films: Analysis) -> list[tuple[str, Analysis]]:
    return [(str(i), one) for i, one in enumerate(films)]


def value_of(found: Any, key: str) -> Any:
    return next(one for one in found.values if one.key == key)


def known(one: Metric, repeat: float, session: float) -> Metric:
    return one.model_copy(update={"repeat_sd": repeat, "session_sd": session})


def test_each_value_comes_from_where_it_can_be_seen() -> None:
    hidden = metric(TURN, None, reason="view_not_reliable")
    unseen = metric(KNEE, None, reason="view_not_reliable")
    found = session_values(
        named(
            *(from_side(metric(KNEE, k), hidden) for k in (60.0, 62.0, 64.0)),
            *(from_front(unseen, metric(TURN, t)) for t in (20.0, 22.0)),
        )
    )
    assert [(p.view, p.repetitions, p.azimuth_deg) for p in found.places] == [
        (View.SIDE, 3, 90.0),
        (View.FRONT_QUARTER, 2, 50.0),
    ]
    knee, turn = value_of(found, KNEE), value_of(found, TURN)
    assert (knee.value, [p.place for p in knee.places], knee.repetitions) == (62.0, [1], 3)
    assert (turn.value, [p.place for p in turn.places], turn.repetitions) == (21.0, [2], 2)
    assert knee.agree is None
    assert not found.notes


def test_a_metric_that_no_place_shows_has_its_reason() -> None:
    hidden = metric(KNEE, None, reason="feet_not_seen")
    found = session_values(named(from_side(hidden), from_front(hidden)))
    knee = value_of(found, KNEE)
    assert (knee.value, knee.low, knee.places, knee.repetitions) == (None, None, (), 0)
    assert knee.reason.text == "feet_not_seen"


def test_places_count_by_their_uncertainty() -> None:
    sure, unsure = metric(KNEE, 60.0, half=4.0), metric(KNEE, 66.0, half=12.0)
    found = session_values(named(from_side(sure), from_front(unsure)))
    knee = value_of(found, KNEE)
    weights = [place.weight for place in knee.places]
    assert sum(weights) == pytest.approx(1.0)
    assert weights[0] > 0.8
    assert 60.0 <= knee.value < 61.5
    assert knee.agree is True
    half = (knee.high - knee.low) / 2.0
    assert half <= 4.0 + 1e-9  # never less sure than the better place


def test_what_places_err_alike_does_not_shrink() -> None:
    """Two equal places halve what they do not share, and nothing of the rest."""
    one = PlaceMean(10.0, 1, common=4.0, own=0.0, spread=None)
    for alike, variance in ((0.0, 2.0), (0.5, 3.0), (1.0, 4.0)):
        found = together([one, one], alike)
        assert found.sd**2 == pytest.approx(variance, rel=1e-6)
    many = together([one] * 50, 0.5)
    assert many.sd**2 == pytest.approx(2.0, rel=0.05)


def test_weights_and_intervals_hold_over_drawn_sessions() -> None:
    """Against what it is made for: 95 % of intervals hold, and the variance is the least."""
    rng = np.random.default_rng(4)
    held, off, better = [], [], []
    for _ in range(600):
        shared, apart = rng.normal(size=()), rng.normal(size=2)
        sds = np.array([2.0, 3.0])
        common = sds * (np.sqrt(0.6) * shared + np.sqrt(0.4) * apart)
        serves = [c + rng.normal(0.0, 1.0, 3) for c in common]
        means = [
            PlaceMean(float(s.mean()), 3, float(sd**2), 1.0, float(s.std(ddof=1)))
            for s, sd in zip(serves, sds, strict=True)
        ]
        one = together(means, 0.6)
        held.append(abs(one.value) <= Z95 * one.sd)
        off.append(one.value)
        better.append(means[0].mean)
    assert 0.93 <= np.mean(held) <= 0.985
    assert np.std(off) <= 1.01 * np.std(better)


def test_serves_of_one_place_share_what_they_err_alike() -> None:
    one = known(metric(KNEE, 60.0, half=Z95 * 5.0), repeat=4.0, session=3.0)
    found = place_mean([one, one, one])
    assert found is not None
    assert found.own == pytest.approx(16.0 - 9.0)
    assert found.common == pytest.approx(25.0 - 7.0)
    alone = place_mean([metric(KNEE, 60.0, half=Z95 * 5.0)])
    assert alone is not None
    assert (alone.own, alone.common) == (0.0, pytest.approx(25.0))
    assert place_mean([metric(KNEE, None, reason="feet_not_seen")]) is None


def test_disagreement_is_told_and_spanned() -> None:
    side = [from_side(metric(KNEE, k, half=2.0)) for k in (60.0, 60.5, 59.5)]
    front = [from_front(metric(KNEE, k, half=2.0)) for k in (90.0, 90.5, 89.5)]
    found = session_values(named(*side, *front))
    knee = value_of(found, KNEE)
    assert knee.agree is False
    assert knee.p_value < 0.001
    assert knee.low <= 60.0
    assert knee.high >= 90.0
    assert [n.code for n in found.notes] == ["places_disagree"]
    assert "on: Front knee bend." in found.notes[0].text
    # In any language by what the metric is called there.
    assert "bei: Beugung des vorderen Knies." in catalogue("de").note(found.notes[0])


def test_places_that_agree_are_seldom_called_different() -> None:
    rng = np.random.default_rng(8)
    alarms = 0
    keys = [KNEE, TURN, "shoulder_line_tilt", "trunk_inclination", "elbow_flexion"]
    for _ in range(150):
        films = []
        shared = rng.normal(0.0, 3.0, len(keys))
        for make in (from_side, from_front):
            apart = rng.normal(0.0, 3.0, len(keys))
            err = np.sqrt(ALIKE) * shared + np.sqrt(1.0 - ALIKE) * apart
            films += [
                make(*(metric(k, float(e), half=Z95 * 3.0) for k, e in zip(keys, err, strict=True)))
            ]
        found = session_values(named(*films))
        alarms += any(one.agree is False for one in found.values)
    assert alarms <= 0.09 * 150  # 5 % and three standard errors of it


def test_films_are_grouped_by_place() -> None:
    films = [
        from_side(azimuth=88.0),
        from_front(azimuth=50.0),
        from_side(azimuth=99.0),
        from_front(azimuth=44.0),
        film(azimuth=None, view=View.UNKNOWN),
        film(azimuth=None, view=View.UNKNOWN),
        film(azimuth=91.0, second_view=BOTH),
    ]
    found = places_of(films)
    assert [place.rows for place in found] == [(0, 2), (1, 3), (4, 5), (6,)]
    assert [place.both_views for place in found] == [False, False, False, True]
    assert [place.azimuth_deg for place in found] == [93.5, 47.0, None, 91.0]
    turned = [from_side(azimuth=358.0), from_side(azimuth=4.0)]
    assert [place.rows for place in places_of(turned)] == [(0, 1)]
    assert places_of(turned)[0].azimuth_deg == 1.0


def test_one_place_proposes_where_else_to_film() -> None:
    found = session_values(named(from_side(metric(KNEE, 60.0))))
    assert [n.code for n in found.notes] == ["session_one_place"]
    assert "three from the front quarter" in found.notes[0].text
    nothing = session_values([])
    assert [n.code for n in nothing.notes] == ["session_without_serves"]
    assert not nothing.values


def sides(shift: float, rng: np.random.Generator) -> tuple[list[Analysis], list[Analysis]]:
    """Two sessions from the same two places, which err by a lot, alike in both."""
    wrong = {from_side: 8.0, from_front: -6.0}
    found: tuple[list[Analysis], list[Analysis]] = ([], [])
    for side, moved in zip(found, (0.0, shift), strict=True):
        for make, bias in wrong.items():
            for _ in range(3):
                value = 50.0 + moved + bias + rng.normal(0.0, 1.0)
                one = metric(KNEE, value, half=Z95 * 8.0)
                side.append(make(known(one, repeat=2.0, session=1.0)))
    return found


def test_what_films_of_a_place_err_alike_drops_out_place_by_place() -> None:
    rng = np.random.default_rng(3)
    first, second = sides(12.0, rng)
    groups = [Group(n, tuple(named(*side))) for n, side in (("a", first), ("b", second))]
    found = compare(*groups, same_player=True)
    (row,) = found.differences
    assert row.verdict is Verdict.SURELY_CHANGED
    assert row.low <= 12.0 <= row.high
    assert found.shared_errors_dropped
    assert "places_together" in [n.code for n in found.notes]
    strangers = compare(*groups)
    assert strangers.differences[0].verdict is not Verdict.SURELY_CHANGED
    assert not strangers.shared_errors_dropped


def test_differences_by_place_hold_over_drawn_sessions() -> None:
    rng = np.random.default_rng(5)
    held = []
    for _ in range(200):
        first, second = sides(5.0, rng)
        by_place = placed([first, second], SERVE, alike=True)
        slot = (KNEE, metric(KNEE, 0.0).event)
        one = side_difference(by_place[0], by_place[1], slot, alike=True, prior=None)
        assert one is not None
        held.append(one.low <= 5.0 <= one.high)
    assert np.mean(held) >= 0.93


def test_a_side_of_one_place_is_as_before() -> None:
    films = [from_side(metric(KNEE, k)) for k in (60.0, 61.0, 65.0)]
    (side,) = placed([films], SERVE, alike=True)
    found = side_mean(side, (KNEE, metric(KNEE, 0.0).event))
    assert found is not None
    assert (found.mean, found.n) == (62.0, 3)


def test_names_of_films_reach_the_document() -> None:
    films: Sequence[tuple[str, Analysis]] = [("ana_1", from_side(metric(KNEE, 60.0)))]
    assert session_values(films).places[0].analyses == ("ana_1",)


def test_progress_takes_each_session_from_all_its_places() -> None:
    rng = np.random.default_rng(6)
    before, after = sides(12.0, rng)
    kinds = (SessionKind.BASELINE, before), (SessionKind.ACQUISITION, after)
    found = progress(
        "p",
        [
            SessionAnalyses(kind.value, kind, T0 + timedelta(days=i), tuple(films))
            for i, (kind, films) in enumerate(kinds)
        ],
        now=T0 + timedelta(days=3),
    )
    (row,) = found.metrics
    assert row.gain is not None
    assert abs(row.gain - 12.0) < 3.0
    assert row.gain_verdict is Verdict.SURELY_CHANGED
    assert [one.session for one in found.sessions] == ["baseline", "acquisition"]
    for one, point in zip(found.sessions, row.series, strict=True):
        assert value_of(one.values, KNEE).value == pytest.approx(point.value)
        assert [place.analyses for place in one.values.places] == [
            ("1", "2", "3"),
            ("4", "5", "6"),
        ]
    codes = [one.code for one in found.notes]
    assert "places_together" in codes
    assert "camera_moved" not in codes  # both places were the same both times
