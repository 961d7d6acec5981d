from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from models.contract.progress import RetentionVerdict, SessionKind
from models.contract.vocabulary import RepetitionKind
from tests.unit.decide.builders import analysis, metric, repetition
from workers.decide.progress import progress
from workers.decide.sessions import SessionAnalyses

T0 = datetime(2026, 3, 2, 10, tzinfo=UTC)


def _session(kind: SessionKind, mean: float, after: timedelta, *, n: int = 8, seed: int = 0):
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 1, n)
    reps = [repetition(metric("front_knee_flexion", float(v), 1.0)) for v in mean + noise]
    return SessionAnalyses(kind.value, kind, T0 + after, (analysis(*reps),))


def _run(retention_mean: float | None, delay: timedelta = timedelta(days=7), gain: float = 12):
    sessions = [
        _session(SessionKind.BASELINE, 40, timedelta(0), seed=1),
        _session(SessionKind.ACQUISITION, 40 + gain, timedelta(days=1), seed=2),
    ]
    if retention_mean is not None:
        sessions.append(
            _session(SessionKind.RETENTION, retention_mean, timedelta(days=1) + delay, seed=3)
        )
    return progress("p1", sessions, now=T0 + timedelta(days=10))


@pytest.mark.parametrize(
    ("retention", "verdict"),
    [
        (52, RetentionVerdict.HELD),
        (46, RetentionVerdict.PARTLY_HELD),
        (40, RetentionVerdict.LOST),
        (None, RetentionVerdict.TOO_EARLY),
    ],
)
def test_verdicts(retention: float | None, verdict: RetentionVerdict) -> None:
    (row,) = _run(retention).metrics
    assert row.verdict == verdict


def test_a_gain_within_noise_leaves_retention_undefined() -> None:
    (row,) = _run(41, gain=0.3).metrics
    assert row.verdict == RetentionVerdict.NO_GAIN
    assert row.retention is None


def test_a_test_on_the_same_day_is_not_retention() -> None:
    (row,) = _run(52, delay=timedelta(hours=5)).metrics
    assert row.verdict == RetentionVerdict.TOO_EARLY
    assert "24 hours" in row.reason.text


def test_the_retention_score_carries_its_delay_and_interval() -> None:
    (row,) = _run(49).metrics
    assert row.retention.delay_hours == pytest.approx(7 * 24)
    assert row.retention.low < row.retention.value < row.retention.high
    assert row.retention.value == pytest.approx(0.75, abs=0.15)


def test_the_next_check_skips_windows_filmed_or_passed() -> None:
    none_yet = _run(None)
    assert none_yet.next_check.not_before == T0 + timedelta(days=1) + timedelta(days=6)
    week_done = _run(49)
    assert week_done.next_check.not_before == T0 + timedelta(days=1) + timedelta(days=25)


def test_only_practice_counts_as_practised() -> None:
    shadow = analysis(
        *[repetition(metric("pelvis_turn", 10.0), kind=RepetitionKind.SHADOW) for _ in range(6)]
    )
    sessions = [
        SessionAnalyses("b", SessionKind.BASELINE, T0, (shadow,)),
        SessionAnalyses("p", SessionKind.ACQUISITION, T0 + timedelta(days=1), (shadow, shadow)),
    ]
    result = progress("p1", sessions, now=T0 + timedelta(days=2))
    assert result.repetitions_practised == {RepetitionKind.SHADOW: 12}


def test_without_a_baseline_it_says_so() -> None:
    result = progress(
        "p1", [_session(SessionKind.ACQUISITION, 50, timedelta(0))], now=T0 + timedelta(hours=1)
    )
    assert result.metrics[0].verdict == RetentionVerdict.TOO_EARLY
    assert any("No baseline" in note.text for note in result.notes)
