"""Numbers as people read them, and a catalogue with no holes."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from models.contract.analysis import Metric
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from models.words import english, negotiate
from workers.learned import load

NBSP = "\N{NO-BREAK SPACE}"


def _metric(key="front_knee_flexion", unit="deg"):
    return Metric(
        key=key, title="Engine title", event=None, value=1.0, low=0.0, high=2.0, unit=unit,
        measurable=True, reason=None, method="kinematic_fit", reference=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "key", "unit", "text"),
    [
        (74.24, "front_knee_flexion", "deg", "74°"),
        (-41.6, "shoulder_line_tilt", "deg", "−42°"),
        (-0.3, "shoulder_line_tilt", "deg", "0°"),
        (0.434, "rear_foot_load_share", "1", f"43{NBSP}%"),
        (1.42, "turn_to_bend_ratio", "1", "1.42"),
        (0.4691, "tempo", "s", f"0.47{NBSP}s"),
        (31.26, "wrist_speed_peak", "m/s", f"31.3{NBSP}m/s"),
        (870.4, "front_knee_extension_speed", "deg/s", "870°/s"),
        (12.5, "made_up", "N", f"12.50{NBSP}N"),
    ],
)
def test_values_carry_their_unit_and_no_false_precision(value, key, unit, text):
    assert english().value(value, _metric(key, unit)) == text


def test_an_interval_keeps_both_signs():
    assert english().interval(-48, 3, _metric("shoulder_line_tilt")) == "−48° to 3°"


def test_unknown_metrics_keep_the_title_of_the_engine():
    assert english().title(_metric("made_up")) == "Engine title"
    assert english().title(_metric()) == "Front knee bend"


def test_every_member_of_the_vocabularies_has_words():
    words = english()
    for event in EventName:
        assert words.event(event)
        assert words(f"event_about.{event.value}")
    assert words.event(None)
    for kind in RepetitionKind:
        assert words(f"kind.{kind.value}")
    for view in View:
        assert words(f"view.{view.value}")
    for hand in Handedness:
        assert words(f"hand.{hand.value}")


def test_every_method_that_may_be_chosen_has_words():
    for method in {row[3] for row in load().learned.calibration.metrics}:
        assert english().method(method) != method


def test_a_missing_entry_is_named():
    with pytest.raises(KeyError, match=r"no words for 'picture\.nonsense'"):
        english()("picture.nonsense")


@pytest.mark.parametrize(
    ("header", "language"),
    [
        (None, "en"),
        ("", "en"),
        ("fr", "en"),
        ("en-GB,en;q=0.9", "en"),
        ("*", "en"),
        (";;q=,,", "en"),
    ],
)
def test_a_reader_without_a_shipped_language_gets_the_default(header, language):
    assert negotiate(header) == language


def test_a_missing_parameter_is_named():
    with pytest.raises(KeyError, match=r"'page\.player' needs 'player'"):
        english()("page.player")


def test_dates_and_times():
    words = english()
    at = datetime(2026, 9, 3, 14, 5, tzinfo=UTC)
    assert words.day(at) == "3 Sep"
    assert words.moment(at) == "3 Sep 2026, 14:05"
