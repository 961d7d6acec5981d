"""The shipped rules ask only for what the engine measures on that kind of work."""

from __future__ import annotations

from models.contract.vocabulary import EventName, RepetitionKind
from models.practice.rules import shipped_rules
from workers.engine.metrics.registry import metrics_for

RULES = shipped_rules()


def _known(kind: RepetitionKind, metric: str, event: EventName | None, unit: str) -> bool:
    return any(
        spec.key == metric and spec.unit == unit and event in (None, spec.event)
        for spec in metrics_for(kind)
    )


def test_every_finding_is_measured_on_serves() -> None:
    for f in RULES.findings:
        assert _known(RepetitionKind.SERVE, f.metric, f.event, f.unit), f.id


def test_every_exit_criterion_is_measured_on_its_drill() -> None:
    for drill in RULES.drills:
        for c in drill.advance_when:
            assert _known(drill.stage, c.metric, c.event, c.unit), (drill.id, c.metric)


def test_the_progression_is_hold_shadow_throw_serve() -> None:
    order = list(RepetitionKind.__members__.values())
    rank = {
        k: i
        for i, k in enumerate(
            (RepetitionKind.HOLD, RepetitionKind.SHADOW, RepetitionKind.THROW, RepetitionKind.SERVE)
        )
    }
    assert set(rank) == set(order)
    stages = {d.id: rank[d.stage] for d in RULES.drills}
    for finding in RULES.findings:
        steps = [stages[d] for d in finding.drills]
        assert steps == sorted(set(steps)), finding.id
