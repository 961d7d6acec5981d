from __future__ import annotations

import numpy as np
import pytest

from models.contract.comparison import Verdict
from models.contract.metrics.catalogue import CATALOGUE
from models.contract.vocabulary import EventName, Handedness, View
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare

LOAD = EventName.LOADING


def _serves(knee: float, tilt: float, n: int, seed: int) -> list:
    rng = np.random.default_rng(seed)
    return [
        repetition(
            metric("front_knee_flexion", knee + rng.normal(0, 1.5)),
            metric("shoulder_line_tilt", tilt + rng.normal(0, 1.5)),
        )
        for _ in range(n)
    ]


def _row(result, key):
    return next(d for d in result.differences if d.key == key)


def test_one_changed_metric_is_found_and_the_other_is_noise() -> None:
    before = Group("before", (("a", analysis(*_serves(50, 20, 6, 1))),))
    after = Group("after", (("b", analysis(*_serves(62, 20, 6, 2))),))
    result = compare(before, after)
    knee, tilt = _row(result, "front_knee_flexion"), _row(result, "shoulder_line_tilt")
    assert knee.verdict == Verdict.SURELY_CHANGED
    assert 8 < knee.difference < 16
    assert knee.low < knee.difference < knee.high
    assert abs(knee.difference) >= knee.mdc95
    assert tilt.verdict == Verdict.NO_CHANGE_SEEN
    assert [(c.part, c.keys) for c in result.linked] == [
        ("legs_and_weight", ("front_knee_flexion",))
    ]


def _with_many_others(knee: float) -> Group:
    others = [metric(f"other_{i}", 0.0) for i in range(40)]
    serve = repetition(metric("front_knee_flexion", knee), *others)
    return Group("side", (("a", analysis(serve)),))


def test_a_smaller_change_is_seen_of_what_was_worked_on() -> None:
    """4.2 with a standard error of 1.44: p = 0.004, times 41 metrics or times 2."""
    sides = _with_many_others(50.0), _with_many_others(54.2)
    assert _row(compare(*sides), "front_knee_flexion").verdict == Verdict.PROBABLY_CHANGED
    for name in ("front_knee_flexion", "front_knee_flexion@trophy"):
        result = compare(*sides, focus=[name])
        row = _row(result, "front_knee_flexion")
        assert row.verdict == Verdict.SURELY_CHANGED
        assert row.focus
        assert row.p_value == pytest.approx(0.0072, abs=0.001)
        assert [d.key for d in result.differences if d.focus] == ["front_knee_flexion"]
        assert result.focus == (name,)


def test_half_of_the_risk_goes_to_the_focus_and_half_to_the_others() -> None:
    sides = _with_many_others(50.0), _with_many_others(54.2)
    result = compare(*sides, focus=["other_1"])
    assert _row(result, "front_knee_flexion").p_value == pytest.approx(0.0036 * 80, rel=0.1)


def test_every_compared_metric_says_what_could_have_been_seen() -> None:
    """Equal sides with a standard error of 1.44: tested at 0.05 / 41, or at half of 0.05."""
    sides = _with_many_others(50.0), _with_many_others(50.0)
    plain, named = compare(*sides), compare(*sides, focus=["front_knee_flexion"])
    se = _row(plain, "front_knee_flexion").mdc95 / 1.96
    assert _row(plain, "front_knee_flexion").detectable == pytest.approx(
        se * (3.231 + 1.282), rel=0.01
    )
    assert _row(named, "front_knee_flexion").detectable == pytest.approx(
        se * (2.241 + 1.282), rel=0.01
    )


def test_a_focus_that_cannot_be_compared_is_said() -> None:
    sides = _with_many_others(50.0), _with_many_others(54.2)
    result = compare(*sides, focus=["pelvis_turn"])
    assert any("pelvis_turn" in note.text for note in result.notes)
    plain = compare(*sides)
    assert [r.p_value for r in result.differences] == [r.p_value for r in plain.differences]


def test_swapping_sides_flips_the_sign_only() -> None:
    one = Group("one", (("a", analysis(*_serves(50, 20, 5, 1))),))
    two = Group("two", (("b", analysis(*_serves(62, 24, 5, 2))),))
    for a, b in zip(compare(one, two).differences, compare(two, one).differences, strict=True):
        assert a.difference == -b.difference
        assert a.mdc95 == b.mdc95
        assert a.verdict == b.verdict


def test_a_value_the_view_cannot_give_is_not_comparable_with_the_reason() -> None:
    hidden = metric("pelvis_turn", None, reason="Seen end-on; film from the side.", event=LOAD)
    seen = metric("pelvis_turn", 20.0, event=LOAD)
    result = compare(
        Group("a", (("a", analysis(repetition(seen))),)),
        Group("b", (("b", analysis(repetition(hidden), view=View.BEHIND)),)),
    )
    row = _row(result, "pelvis_turn")
    assert row.verdict == Verdict.CANNOT_TELL
    assert "film from the side" in row.reason.text
    assert row.difference is None
    assert row.first is not None
    assert any("camera stood" in note.text for note in result.notes)


def test_hands_that_differ_are_said_to_be_mirrored() -> None:
    result = compare(
        Group("a", (("a", analysis(repetition(metric("elbow_flexion", 30.0)))),)),
        Group(
            "b",
            (("b", analysis(repetition(metric("elbow_flexion", 31.0)), hand=Handedness.LEFT)),),
        ),
    )
    assert result.mirrored


def test_nothing_to_compare_is_said_and_does_not_fail() -> None:
    result = compare(
        Group("a", (("a", analysis()),)),
        Group("b", (("b", analysis(repetition(metric("elbow_flexion", 31.0)))),)),
    )
    assert _row(result, "elbow_flexion").verdict == Verdict.CANNOT_TELL
    assert any("nothing can be compared" in note.text for note in result.notes)


def test_matched_events_are_those_both_have() -> None:
    times = {EventName.SET_UP: 0.5, EventName.TROPHY: 1.5, EventName.CONTACT: 2.0}
    other = {EventName.SET_UP: 0.2, EventName.CONTACT: 1.9}
    m = metric("elbow_flexion", 31.0)
    result = compare(
        Group("a", (("a", analysis(repetition(m, times=times))),)),
        Group("b", (("b", analysis(repetition(m, times=other))),)),
    )
    assert [e.event for e in result.matched_events] == [EventName.SET_UP, EventName.CONTACT]


def test_metrics_that_move_together_are_shown_with_their_correlation() -> None:
    rng = np.random.default_rng(5)

    def side(shift: float) -> list:
        out = []
        for _ in range(8):
            common = rng.normal(0, 2)
            out.append(
                repetition(
                    metric("front_knee_flexion", 50 + shift + common, 0.5),
                    metric("rear_knee_flexion", 60 + shift + common, 0.5),
                )
            )
        return out

    result = compare(
        Group("a", (("a", analysis(*side(0))),)), Group("b", (("b", analysis(*side(15))),))
    )
    (linked,) = result.linked
    assert set(linked.keys) == {"front_knee_flexion", "rear_knee_flexion"}
    assert linked.correlation > 0.95


def test_every_design_metric_has_a_body_part() -> None:
    assert CATALOGUE.part("rear_foot_load_share") == "legs_and_weight"
    assert CATALOGUE.part("hip_shoulder_separation") == "pelvis_and_trunk"
    assert CATALOGUE.part("elbow_flexion") == "arms"
    assert CATALOGUE.part("tempo_release_trophy") == "timing"
    assert CATALOGUE.part("contact_height_ratio") == "ball_and_contact"
    # Durations of a hold and weight over a foot are not of the trunk.
    assert CATALOGUE.part("hold_duration") == "timing"
    assert CATALOGUE.part("hold_rear_foot_load_share") == "legs_and_weight"


def test_yes_or_no_is_judged_as_a_share() -> None:
    """One repetition each that says yes and no proves nothing; ten each that all do is a change."""

    def side(name: str, value: float, count: int) -> Group:
        order = metric("sequence_proximal_to_distal", value, 0.01, event=None, unit="1")
        return Group(name, ((name, analysis(*[repetition(order)] * count)),))

    single = _row(compare(side("a", 1.0, 1), side("b", 0.0, 1)), "sequence_proximal_to_distal")
    assert (single.verdict, single.difference, single.p_value) == (
        Verdict.NO_CHANGE_SEEN,
        -1.0,
        1.0,
    )
    many = _row(compare(side("a", 1.0, 10), side("b", 0.0, 10)), "sequence_proximal_to_distal")
    assert many.verdict is Verdict.SURELY_CHANGED
