"""What is withheld, and whether the reason helps."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.vocabulary import EventName, RepetitionKind, View
from workers.engine.calibration import Calibration, Residual
from workers.engine.events import Instant
from workers.engine.measurability import FilmContext, why_not
from workers.engine.metrics.registry import REGISTRY

SPECS = {spec.name: spec for spec in REGISTRY}
EVENTS = {event: Instant(1.0, 0.01, 1.0) for event in EventName}


KNEE = "front_knee_flexion@trophy"
PROVEN = (
    "shoulder_line_tilt@trophy",
    "wrist_speed_peak",
    "tempo",
    "leg_drive_speed",
    "rear_foot_load_share@loading",
)
ERRORS = Calibration(
    {
        (KNEE, "side", "usual", "m"): (0.0, 3.0, 3.5, 20),
        (KNEE, "behind", "usual", "m"): (0.0, 9.0, 11.0, 20),
        (KNEE, "rear_quarter", "usual", "m"): (0.0, 3.0, 3.5, 20, 0.2, 0.2),
        (f"shadow:{KNEE}", "side", "usual", "m"): (0.0, 3.0, 3.5, 20, 0.8, 0.8),
        **{(name, "side", "usual", "m"): (0.0, 0.01, 0.01, 20) for name in PROVEN},
    }
)


def context(**changes: object) -> FilmContext:
    values: dict[str, object] = {
        "fps": 60.0,
        "view": View.SIDE,
        "feet_share": 1.0,
        "events": EVENTS,
        "errors": ERRORS,
    }
    return FilmContext(**(values | changes))  # type: ignore[arg-type]


def reason(name: str, **changes: object) -> str | None:
    why = why_not(SPECS[name], context(**changes), "m")
    return why and why.text


def test_a_good_side_view_measures_the_knee() -> None:
    assert reason("front_knee_flexion@trophy") is None


def test_an_unsuitable_view_names_the_better_one() -> None:
    text = reason("front_knee_flexion@trophy", view=View.BEHIND)
    assert text == "Not reliable from behind; film from the side, facing the chest."


def test_what_tells_too_little_of_a_player_is_withheld_however_small_its_error() -> None:
    text = reason(KNEE, view=View.REAR_QUARTER)
    assert text == "Not reliable from the rear quarter; film from the side, facing the chest."


def test_work_of_a_kind_that_was_never_measured_is_withheld() -> None:
    assert reason(KNEE, kind=RepetitionKind.SHADOW) is None
    text = reason(KNEE, kind=RepetitionKind.THROW) or ""
    assert "Not proven for this kind of work (Throw)" in text
    assert "Not proven" in (reason("elbow_flexion@contact") or "")


def test_joints_from_elsewhere_know_no_view() -> None:
    assert reason("front_knee_flexion@trophy", view=None, feet_share=0.0) is None


def test_feet_out_of_the_picture() -> None:
    assert "feet" in (reason("rear_foot_load_share@loading", feet_share=0.5) or "")
    assert reason("shoulder_line_tilt@trophy", feet_share=0.5) is None


def test_too_few_frames_a_second() -> None:
    text = reason("wrist_speed_peak", fps=30.0)
    assert text == ("30 frames per second do not resolve this movement; film at 100 or more.")
    assert reason("wrist_speed_peak", fps=119.8) is None


def test_a_missing_event_is_named() -> None:
    found = {event: EVENTS[event] for event in EventName if event is not EventName.SET_UP}
    assert "set-up" in (reason("pelvis_turn@loading", events=found) or "")


def test_a_doubtful_clock_withholds_times_and_speeds_only() -> None:
    assert "free fall" in (reason("tempo", time_doubtful=True) or "")
    assert "free fall" in (reason("leg_drive_speed", time_doubtful=True) or "")
    assert reason("front_knee_flexion@trophy", time_doubtful=True) is None


def test_calibration_runs_withhold_nothing_for_the_view() -> None:
    assert reason("front_knee_flexion@trophy", view=View.BEHIND, calibrated=False) is None


@pytest.mark.parametrize(("fps", "few"), [(30.0, "low"), (60.0, "usual")])
def test_a_rate_of_few_films_is_joined_with_the_other_at_a_slow_instant(
    fps: float, few: str
) -> None:
    other = "usual" if few == "low" else "low"
    own = (0.0, 0.147, 0.083, 3, 0.288, 0.31, 0.35)
    many = (0.034, 0.027, 0.061, 27, 0.899, 0.93, 0.09)
    for name, joined in (("a@loading", True), ("a@contact", False), ("a", False)):
        table = {(name, "side", few, "m"): own, (name, "side", other, "m"): many}
        found = Calibration(table).residual(name, View.SIDE, fps, "m")
        assert found is not None
        if not joined:
            assert found == Residual(*own)
            continue
        assert found.count == 30
        assert found.bias == 0.034
        assert found.r2 == pytest.approx(0.1 * 0.288 + 0.9 * 0.899)
        # Variances are what adds up (JCGM 100:2008, 4.3).
        assert found.sd == pytest.approx(np.sqrt(0.1 * 0.147**2 + 0.9 * 0.027**2))
        assert found.informative
    enough = {
        ("a@loading", "side", few, "m"): (*own[:3], 8, *own[4:]),
        ("a@loading", "side", other, "m"): many,
    }
    assert Calibration(enough).residual("a@loading", View.SIDE, fps, "m") == Residual(
        *own[:3], 8, *own[4:]
    )


def test_few_times_of_a_rate_are_joined_with_the_other_at_a_slow_instant() -> None:
    rows = {("side", "low"): (0.3, 8), ("side", "usual"): (0.1, 42)}
    events = {(e, *row): told for row, told in rows.items() for e in ("loading", "contact")}
    table = Calibration({}, events)
    sampling = (1.0 / 30.0) ** 2 / 12.0
    both = np.sqrt((8 * 0.3**2 + 42 * (0.1**2 + sampling)) / 50)
    assert table.event_sd(EventName.LOADING, View.SIDE, 30.0) == pytest.approx(both)
    assert table.event_sd(EventName.LOADING, View.SIDE, 60.0) == 0.1
    assert table.event_sd(EventName.CONTACT, View.SIDE, 30.0) == 0.3
