"""Trophy and loading where they are defined: the top of a curve, as sure as it is sharp."""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.vocabulary import EventName, RepetitionKind
from models.training.rendered.bodies import true_motion, truth
from workers.engine.bend import Bend, Curve, bend_of, film_bend
from workers.engine.curve_peak import peak
from workers.engine.events import locate
from workers.engine.heads import HeadPaths
from workers.engine.lift_layout import HEADS
from workers.engine.truth import read_truth

TIME = np.linspace(0.0, 1.2, 73)
SD = np.full(73, 3.0)
WINDOW = (0.1, 1.1)


def bump(at: float, width: float) -> np.ndarray:
    """60 degrees at most, a Gaussian of some width in time."""
    return 60.0 * np.exp(-0.5 * ((TIME - at) / width) ** 2)


def test_a_sharp_top_is_told_to_a_frame_and_a_level_one_is_said_to_be_level() -> None:
    sharp = peak(TIME, bump(0.62, 0.08), SD, WINDOW, "knees")
    level = peak(TIME, bump(0.62, 0.6), SD, WINDOW, "knees")
    assert sharp is not None
    assert level is not None
    assert sharp.time_s == pytest.approx(0.62, abs=1.0 / 120.0)
    assert sharp.sd_s < 0.03
    assert level.sd_s > 4.0 * sharp.sd_s


def test_its_interval_holds_what_errors_of_the_stated_size_do() -> None:
    """Errors of a first-order process, drawn here by its definition, are not the module's own."""
    chance = np.random.default_rng(5)
    keep = np.exp(-(TIME[1] - TIME[0]) / 0.6)
    held, wide = [], []
    for _ in range(120):
        at = chance.uniform(0.4, 0.8)
        error = np.empty(len(TIME))
        error[0] = chance.normal()
        for row in range(1, len(TIME)):
            error[row] = keep * error[row - 1] + np.sqrt(1.0 - keep**2) * chance.normal()
        told = peak(TIME, bump(at, 0.2) + 3.0 * error, SD, WINDOW, "knees")
        assert told is not None
        held.append(abs(told.time_s - at) <= 1.96 * told.sd_s)
        wide.append(told.sd_s)
    # 95 % of 120: 114 +- 2.4; tails of the module are heavier than these errors
    assert np.sum(held) >= 109
    assert np.median(wide) < 0.1


def test_a_constant_error_moves_no_top_and_the_usual_time_counts_where_much_is_open() -> None:
    curve = bump(0.62, 0.1)
    plain = peak(TIME, curve, SD, WINDOW, "knees")
    assert peak(TIME, curve + 12.0, SD, WINDOW, "knees") == plain
    flat = np.full(73, 30.0)
    open_ = peak(TIME, flat, SD, WINDOW, "knees")
    drawn = peak(TIME, flat, SD, WINDOW, "knees", usual=(0.9, 0.1))
    assert open_ is not None
    assert drawn is not None
    assert drawn.time_s > open_.time_s + 0.1
    sure = peak(TIME, bump(0.4, 0.05), SD, WINDOW, "knees", usual=(0.9, 0.1))
    assert sure is not None
    assert sure.time_s == pytest.approx(0.4, abs=0.01)


def test_no_top_is_told_where_the_curve_does_not_reach() -> None:
    curve = bump(0.6, 0.1)
    assert peak(TIME, curve, SD, (1.3, 2.0), "knees") is None
    assert peak(TIME, np.full(73, np.nan), SD, WINDOW, "knees") is None


@pytest.mark.parametrize("clip", ["000", "001", "002", "003", "006"])
def test_true_joints_have_their_trophy_and_loading_where_the_renderer_has_them(clip: str) -> None:
    """Truth: dense search of the renderer's continuous motion (`rendered/truth.py`)."""
    motion = true_motion(clip)
    true = read_truth(truth(clip), clip).repetitions[0].events
    found = locate(motion, RepetitionKind.SERVE).events
    step = float(np.median(np.diff(motion.time_s)))
    for event, source in ((EventName.TROPHY, "knees"), (EventName.LOADING, "pelvis")):
        assert found[event].method == source
        off = abs(found[event].time_s - true[event])
        assert off <= max(2.0 * step, 1.96 * found[event].sd_s), (event, off)


def test_knees_of_film_are_the_mean_of_fit_and_answers() -> None:
    motion = true_motion("000")
    own = bend_of(motion)
    when = motion.time_s[::2]
    heads = HeadPaths(when, np.zeros((len(when), len(HEADS))), np.ones((len(when), len(HEADS))))
    heads.mean[:, [HEADS.index("front_knee"), HEADS.index("rear_knee")]] = 40.0
    both = film_bend([motion], heads)
    assert both.knees.mean == pytest.approx((own.knees.mean[::2] + 40.0) / 2.0)
    assert both.knees.sd == pytest.approx(np.sqrt(2.7) / 2.0)


def test_where_the_bend_is_level_the_swing_is_not_taken_for_a_slow_one() -> None:
    motion = true_motion("000")
    plain = locate(motion, RepetitionKind.SERVE)
    level = Curve(motion.time_s, np.zeros(len(motion)), np.ones(len(motion)))
    found = locate(motion, RepetitionKind.SERVE, bend=Bend(level, level))
    wide = found.events[EventName.TROPHY].sd_s
    assert wide > 0.1
    assert wide > 2.0 * plain.events[EventName.TROPHY].sd_s
    contact = plain.events[EventName.CONTACT].time_s
    assert found.events[EventName.CONTACT].time_s == pytest.approx(contact, abs=0.005)
