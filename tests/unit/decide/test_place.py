from __future__ import annotations

import pytest

from models.contract.analysis import Analysis, ViewEstimate
from models.contract.comparison import Verdict
from models.contract.vocabulary import View
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.compare import Group, compare
from workers.decide.place import one_place


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
        (92.0, True, Verdict.CHANGED),
        (92.0, False, Verdict.WITHIN_NOISE),
        (107.0, True, Verdict.WITHIN_NOISE),
    ],
)
def test_shared_errors_drop_out_for_one_player_from_one_place_only(
    azimuth: float, same_player: bool, verdict: Verdict
) -> None:
    sides = Group("a", (("a", film(50, 90.0)),)), Group("b", (("b", film(58, azimuth)),))
    result = compare(*sides, same_player=same_player)
    assert result.differences[0].verdict is verdict
    assert result.shared_errors_dropped is (verdict is Verdict.CHANGED)
    assert result.differences[0].typical_error == pytest.approx(
        1.0 if verdict is Verdict.CHANGED else 10.0 / 1.96, rel=1e-3
    )
