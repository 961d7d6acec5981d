"""Comparison with truth: matching, bias, coverage, tables, calibration."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from models.contract.analysis import Event, Metric, Repetition
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from models.registry import load_learned
from models.training.calibration import (
    TAKEN_OUT,
    bias_of,
    calibrate,
    calibrate_events,
    table_text,
)
from models.training.rendered.bodies import truth
from workers.engine.accuracy import (
    ClipErrors,
    clip_errors,
    clip_summary,
    event_table,
    metric_table,
)
from workers.engine.calibration import Calibration
from workers.engine.truth import read_truth
from workers.learned import load


def metric(key: str, event: EventName, value: float, half: float) -> Metric:
    return Metric(
        key=key,
        title=key,
        event=event,
        value=value,
        low=value - half,
        high=value + half,
        unit="deg",
        measurable=True,
        reason=None,
        method="test",
        reference=None,
    )


def answer(clip: str, *, late: float = 0.0, off: float = 0.0, half: float = 5.0) -> ClipErrors:
    """A comparison in which every serve is found, late by some seconds and off by some degrees."""
    known = read_truth(truth(clip), clip)
    found = [
        Repetition(
            kind=RepetitionKind.SERVE,
            start_s=0.0,
            end_s=1.0,
            confidence=1.0,
            events={
                EventName.CONTACT: Event(
                    time_s=true.events[EventName.CONTACT] + late,
                    frame=0,
                    uncertainty_s=0.01,
                    confidence=1.0,
                )
            },
            metrics=(
                metric(
                    "front_knee_flexion",
                    EventName.TROPHY,
                    true.metrics["front_knee_flexion@trophy"] + off,
                    half,
                ),
            ),
        )
        for true in known.serves
    ]
    return clip_errors(known, found, known.view, known.azimuth_deg, known.handedness)


def test_turns_are_counted_from_set_up() -> None:
    document = truth("000")
    known = read_truth(document).repetitions[0].metrics
    start = document["serves"][0]["event_frames"]["start"]
    low = document["serves"][0]["metrics"]["lowest_pelvis"]["pelvis_turn"]
    first = document["frame_metrics"]["pelvis_turn"][start]
    assert known["pelvis_turn@loading"] == pytest.approx(low - first, abs=0.2)


def test_another_document_is_refused() -> None:
    with pytest.raises(ValueError, match="serveclips-truth-1"):
        read_truth({"format": "something else"})


def test_bias_error_coverage_and_frames() -> None:
    compared = [answer("000", late=0.02, off=3.0), answer("007", late=-0.02, off=-6.0)]
    row = next(r for r in metric_table(compared) if r.view == "all")
    assert row.count == 4
    assert row.bias == pytest.approx((3 - 18) / 4)
    assert row.mae == pytest.approx((3 + 18) / 4)
    assert row.coverage == pytest.approx(1 / 4)
    assert row.measurable == 1.0
    event = next(r for r in event_table(compared) if r.event == "contact" and r.view == "all")
    assert event.mae_ms == pytest.approx(20.0)
    assert event.within_one_frame == pytest.approx(3 / 4)  # 60 fps: 1.2 frames; 30 fps: 0.6


def test_withheld_values_count_as_not_measurable() -> None:
    known = read_truth(truth("000"), "000")
    hidden = Metric(
        key="front_knee_flexion",
        title="",
        event=EventName.TROPHY,
        value=None,
        low=None,
        high=None,
        unit="deg",
        measurable=False,
        reason="view",
        method="test",
        reference=None,
    )
    time = known.serves[0].events[EventName.CONTACT]
    found = Repetition(
        kind=RepetitionKind.SERVE, start_s=time, end_s=time, confidence=1.0, metrics=(hidden,)
    )
    row = metric_table([clip_errors(known, [found], View.SIDE, None, Handedness.RIGHT)])[-1]
    assert (row.measurable, row.mae, row.coverage) == (0.0, None, None)


def test_clip_answers() -> None:
    known = read_truth(truth("008"), "008")
    wrong = clip_errors(known, [], View.UNKNOWN, None, Handedness.UNKNOWN)
    summary = clip_summary([answer("000"), answer("004"), wrong])
    assert summary.count_exact == 1.0
    assert summary.handedness_exact == 1.0
    assert summary.view_class == 1.0
    missed = read_truth(truth("000"), "000")
    nothing = clip_errors(missed, [], View.BEHIND, 170.0, Handedness.LEFT)
    summary = clip_summary([answer("000"), nothing])
    assert summary.count_exact == 0.5
    assert summary.handedness_exact == 0.5


def test_calibration_brings_coverage_to_95_percent() -> None:
    rng = np.random.default_rng(1)
    drawn = rng.normal(0, 8.0, 400)
    compared = [answer("000", off=float(off), half=0.5) for off in drawn]
    table = calibrate(compared)
    bias, sd, mae, count, *_ = table[("front_knee_flexion@trophy", "side", "usual", "test")]
    assert drawn.std() <= sd <= 1.15 * drawn.std()  # a little more than 95 % is held
    assert abs(bias) < 0.8
    assert mae == pytest.approx(np.abs(drawn).mean(), rel=0.01)
    assert count == 400
    inside = np.mean(np.abs(rng.normal(0, 8.0, 4000)) <= 1.96 * sd)
    assert 0.90 <= inside <= 0.985


def test_a_bias_is_taken_out_and_judged_by_other_clips() -> None:
    rng = np.random.default_rng(2)
    drawn = rng.normal(6.0, 3.0, 200)
    compared = [answer("000", off=float(off), half=0.5) for off in drawn]
    row = calibrate(compared)[("front_knee_flexion@trophy", "side", "usual", "test")]
    bias, sd, mae = row[:3]
    # half of it is taken out, the other half stays in the error that is left
    assert bias == pytest.approx(TAKEN_OUT * drawn.mean(), rel=0.01)
    left = drawn - TAKEN_OUT * drawn.mean()
    assert mae == pytest.approx(np.abs(left).mean(), rel=0.02)
    assert sd == pytest.approx(np.sqrt(np.mean(left**2)), rel=0.15)


def test_what_may_be_chance_is_no_bias() -> None:
    assert bias_of(np.array([1.0, -1.0, 2.0, -1.5]))[0] == 0.0
    assert bias_of(np.array([5.0, 5.0, 5.0]))[0] == 0.0  # too few
    bias, left = bias_of(np.array([4.0, 5.0, 6.0, 5.0]))
    assert 4.5 < bias / TAKEN_OUT < 5.0
    assert np.abs(left).max() < 1.6 + TAKEN_OUT * 5.0


def test_the_table_is_data() -> None:
    events = calibrate_events([answer("000", late=0.02), answer("000", late=-0.02)])
    assert events[("contact", "side", "usual")] == (0.02, 2)
    row = (0.5, 1.5, 2.0, 7, 0.8, 0.7, 0.1)
    text = table_text({("a@trophy", "side", "usual", "m"): row}, events, "a command")
    written = json.loads(text)
    assert written["metrics"] == [["a@trophy", "side", "usual", "m", *row]]
    assert written["events"] == [["contact", "side", "usual", 0.02, 2]]
    assert written["made_by"] == "a command"


def test_the_shipped_table_is_read_whole() -> None:
    data = json.loads(load_learned("calibration"))
    shares = json.loads(load_learned("repeat_shares"))
    known = load().learned.calibration
    assert len(known.metrics) == len(data["metrics"])
    assert len(known.events) == len(data["events"])
    assert len(known.shares) == len(shares["shares"])


def test_each_metric_is_taken_from_its_better_method() -> None:
    cells = {
        ("a@trophy", "side", "usual", "one"): (0.0, 3.0, 4.0, 20),
        ("a@trophy", "side", "usual", "two"): (0.0, 1.0, 2.0, 20),
        ("a@trophy", "behind", "usual", "one"): (0.0, 3.0, 5.0, 20),
    }
    calibration = Calibration(cells)
    methods = ["one", "two"]
    assert calibration.best_method("a@trophy", View.SIDE, 60.0, methods) == "two"
    assert calibration.best_method("a@trophy", View.BEHIND, 60.0, methods) == "one"
    assert calibration.best_method("b@trophy", View.SIDE, 60.0, methods) == "one"
    # a slow film borrows the figures of faster ones where it has none of its own
    assert calibration.best_method("a@trophy", View.SIDE, 25.0, methods) == "two"
    assert calibration.views_within("a@trophy", 4.5, 60.0) == [View.SIDE]


def test_what_tells_more_of_a_player_goes_before_a_smaller_error() -> None:
    """Always answering the average errs little where players are alike, and tells nothing."""
    cells = {
        ("a@trophy", "side", "usual", "average"): (0.0, 3.0, 3.0, 40, 0.05, 0.05),
        ("a@trophy", "side", "usual", "film"): (0.0, 4.0, 4.0, 40, 0.70, 0.70),
        ("a@trophy", "side", "usual", "worse"): (0.0, 5.0, 5.0, 40, 0.72, 0.90),
        ("hold:a@trophy", "side", "usual", "average"): (0.0, 1.0, 1.0, 40, 0.90, 0.90),
        ("a@trophy", "behind", "usual", "film"): (0.0, 2.0, 2.0, 40, 0.20, 0.20),
    }
    known = Calibration(cells)
    methods = ["average", "film", "worse"]
    assert known.best_method("a@trophy", View.SIDE, 60.0, methods) == "film"
    hold = RepetitionKind.HOLD
    assert known.best_method("a@trophy", View.SIDE, 60.0, methods, hold) == "average"
    assert known.residual("a@trophy", View.SIDE, 60.0, "film", RepetitionKind.THROW) is None
    assert known.views_within("a@trophy", None, 60.0) == [View.SIDE]


def test_correlation_and_slope_are_measured() -> None:
    """Half of a spread of 10 shown, with errors of 3: r2 = 25 / (25 + 9)."""
    rng = np.random.default_rng(6)
    true, noise = rng.normal(30.0, 10.0, 400), rng.normal(0.0, 3.0, 400)
    (knee,) = answer("000").metrics
    compared = [
        replace(answer("000"), metrics=(replace(knee, truth=t, value=15.0 + 0.5 * t + e),))
        for t, e in zip(true.tolist(), noise.tolist(), strict=True)
    ]
    *_, r2, slope, _ = calibrate(compared)[("front_knee_flexion@trophy", "side", "usual", "test")]
    assert r2 == pytest.approx(25 / 34, abs=0.05)
    assert slope == pytest.approx(0.5, abs=0.04)


def test_what_tells_one_way_of_moving_from_another_does_not_tell_players_apart() -> None:
    """Two generators 40 degrees apart in what a value cannot tell within either."""
    rng = np.random.default_rng(8)
    (knee,) = answer("000").metrics
    compared = []
    for number in range(120):
        name = f"moves_calibrate-1-{number}" if number % 2 else f"moves_report-1-{number}"
        middle = 60.0 if number % 2 else 20.0
        true, value = middle + rng.normal(0.0, 5.0), middle + rng.normal(0.0, 5.0)
        metric = replace(knee, clip=name, truth=true, value=value)
        compared.append(replace(answer("000"), metrics=(metric,)))
    *_, r2, slope, _ = calibrate(compared)[("front_knee_flexion@trophy", "side", "usual", "test")]
    assert r2 < 0.1
    assert abs(slope) < 0.3


def test_a_film_whose_hitting_hand_was_mistaken_calibrates_nothing() -> None:
    right = [answer("000"), answer("004")]
    found = replace(answer("004"), handedness=Handedness.LEFT, handedness_found=Handedness.RIGHT)
    assert calibrate([*right, found]) == calibrate(right)
