"""The page of all metrics, generated from their definitions and formulas.

``python -m workers.cli.metrics_page --write`` renews ``infra/accuracy/metrics.md``; ``--check``
fails where it is not current.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from models.contract.frame_rate import USUAL_RATE_FPS
from models.contract.metrics.definition import SERVES, BodyPart, MetricDefinition
from models.contract.metrics.units import facts
from models.contract.vocabulary import RepetitionKind, View
from models.words import english
from workers.engine.measurability import SIDE_FACTOR
from workers.engine.metrics.registry import REGISTRY
from workers.engine.metrics.spec import MetricSpec
from workers.learned import load

FILE = Path(__file__).resolve().parents[2] / "infra" / "accuracy" / "metrics.md"

INTRODUCTION = """\
# What is measured

Generated from the definitions by `python -m workers.cli.metrics_page --write`; not edited.

Court frame: x toward the target, z up; left-handers are mirrored, so every value reads the same \
for both hands. *Rear* and *front* are the feet at set-up. Turns count from set-up, positive away \
from the target; the `…_absolute` ones count from the chest facing the net and need a known target \
direction. Flexion 0 = straight. Each value carries unit, 95 % interval, event, method, and either \
a value or the reason why there is none and the view that would give it. Events: {events}. Kinds \
of work: {kinds}.

How far off each value was: [README.md](README.md). How large a change must be to be seen: \
[changes.md](changes.md)."""

LIMITS = """\
## What each needs

*Tolerance*: the largest mean absolute error with which a value is worth reporting. From the side \
a value is reported up to {factor:g} times that, with the interval that goes with it; from \
elsewhere only where films with known truth show the error to be surely within it. *Kept from*: \
the camera positions where they do, at {fps:.0f} frames a second, best first."""

NO_CALIBRATION = """\
## Reported without calibration

The interval of these comes from the joints and event times alone: no systematic error is taken \
out of them, and none is allowed for. Where they have a tolerance they are reported from the side \
only."""


def page(registry: Sequence[MetricSpec]) -> str:
    """Return the page of these metrics."""
    events = dict.fromkeys(e.value for spec in registry for e in spec.events)
    parts = [
        INTRODUCTION.format(
            events=_codes(events), kinds=_codes(kind.value for kind in RepetitionKind)
        )
    ]
    for part in BodyPart:
        mine = [spec for spec in registry if spec.metric.part is part]
        parts.append(f"## {english()(f'comparison.part_{part.value}')}")
        parts.append(_definitions(mine))
    parts.append(LIMITS.format(factor=SIDE_FACTOR, fps=USUAL_RATE_FPS))
    parts.append(_limits(registry))
    parts.append(NO_CALIBRATION)
    parts.append(_table(("metric", "why"), _reasons(registry)))
    parts.append("## Published and usual values\n\nTo compare with, not a target for everybody.")
    rows = [(f"`{spec.name}`", spec.taken.reference) for spec in registry if spec.taken.reference]
    parts.append(_table(("metric", "value and source"), rows))
    parts.append("## Readings of one movement\n\nThey count as one finding.")
    rows = [(f"`{key}`", _codes(others)) for key, others in _movements(registry).items()]
    parts.append(_table(("metric", "other readings"), rows))
    return "\n\n".join(parts) + "\n"


def _definitions(specs: Sequence[MetricSpec]) -> str:
    rows = []
    for metric in dict.fromkeys(spec.key for spec in specs):
        mine = [spec for spec in specs if spec.key == metric]
        one = mine[0]
        rows.append(
            (
                f"`{metric}`",
                one.title,
                one.definition,
                one.unit,
                ", ".join(spec.event.value if spec.event else "whole" for spec in mine),
                one.metric.greater,
            )
        )
    return _table(("key", "name", "definition", "unit", "at", "greater means"), rows)


def _limits(registry: Iterable[MetricSpec]) -> str:
    rows = []
    for spec in registry:
        metric = spec.metric
        needs = sorted(need.value for need in metric.needs)
        if metric.min_fps:
            needs.append(f"{metric.min_fps:.0f} frames a second")
        kinds = "" if spec.kinds == SERVES else ", ".join(sorted(k.value for k in spec.kinds))
        rows.append(
            (
                f"`{spec.name}`",
                kinds or "serve, shadow",
                ", ".join(needs),
                _range(metric),
                _amount(metric, metric.tolerance),
                _amount(metric, metric.aim),
                _views(spec),
            )
        )
    head = ("metric", "work", "needs", "range", "tolerance", "aim from the side", "kept from")
    return _table(head, rows)


def _views(spec: MetricSpec) -> str:
    if spec.metric.tolerance is None:
        return "no limit set"
    known = load().learned.calibration
    found = known.views_within(spec.name, spec.metric.tolerance, USUAL_RATE_FPS)
    return _codes(view.value for view in found if view is not View.UNKNOWN)


def _reasons(registry: Iterable[MetricSpec]) -> list[tuple[str, str]]:
    rows = []
    for spec in registry:
        why = [spec.taken.no_calibration, spec.taken.no_truth]
        if any(why):
            rows.append((f"`{spec.name}`", " ".join(filter(None, why))))
    return rows


def _movements(registry: Iterable[MetricSpec]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for metric in dict.fromkeys(spec.key for spec in registry if spec.metric.variant_of):
        movement = next(s.metric.movement for s in registry if s.key == metric)
        found.setdefault(movement, []).append(metric)
    return found


def _range(metric: MetricDefinition) -> str:
    if metric.lowest is None:
        return ""
    most = "" if metric.highest is None else f" to {metric.highest:g}"
    return f"{metric.lowest:g}{most}" if most else f"from {metric.lowest:g}"


def _amount(metric: MetricDefinition, value: float | None) -> str:
    return "" if value is None else f"{value:g}{facts(metric.unit).sign}"


def _codes(words: Iterable[str]) -> str:
    return ", ".join(f"`{word}`" for word in words)


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    group = parser.add_mutually_exclusive_group(required=True)
    group.add_argument("--write", action="store_true")
    group.add_argument("--check", action="store_true")
    text = page(REGISTRY)
    if parser.parse_args().write:
        FILE.write_text(text, "utf-8")
        return 0
    return int(not FILE.is_file() or FILE.read_text("utf-8") != text)


if __name__ == "__main__":
    sys.exit(main())
