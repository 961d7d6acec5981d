"""Readable summaries of comparisons, progress and plans for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from models.contract.comparison import Comparison, MetricDifference, Verdict
from models.contract.plan import PracticePlan
from models.contract.progress import Progress
from models.contract.vocabulary import EventName
from workers.cli.summary import UNIT_TEXT


def show_comparison(comparison: Comparison, console: Console) -> None:
    """Print what changed, how much was within noise, and what could not be compared."""
    rows = comparison.differences
    changed = [row for row in rows if row.verdict is Verdict.CHANGED]
    shown = [row for row in rows if row.focus or row.verdict is Verdict.CHANGED]
    first, second = comparison.first, comparison.second
    what = "Worked on or changed" if comparison.focus else "Changed"
    table = Table(
        *("metric", "at", first.label, second.label, "difference", "95 % interval", "noise"),
        *("seen from", "says"),
        title=f"{what} ({first.repetitions} against {second.repetitions} repetitions)",
        title_justify="left",
    )
    for row in sorted(shown, key=lambda row: not row.focus):
        table.add_row(*_row(row), row.verdict.value.replace("_", " "))
    if shown:
        console.print(table)
    within = sum(row.verdict is Verdict.WITHIN_NOISE for row in rows)
    console.print(
        f"{len(changed)} changed, {within} within noise, {len(rows) - len(changed) - within} not "
        "comparable.",
        markup=False,
    )
    if any(row.detectable is not None for row in shown):
        console.print(
            "Seen from: a true change that large is found nine times in ten; a smaller one may go "
            "unseen.",
            markup=False,
        )
    reasons = {row.reason for row in rows if row.reason}
    for line in [*comparison.notes, *sorted(reasons)]:
        console.print(f"- {line}", markup=False)


def _row(row: MetricDifference) -> tuple[str, ...]:
    sign = UNIT_TEXT.get(row.unit, f" {row.unit}")
    values = [
        row.first.value if row.first else None,
        row.second.value if row.second else None,
        row.difference,
    ]
    one, two, difference = ("" if v is None else f"{v:.3g}{sign}" for v in values)
    interval = "" if row.low is None or row.high is None else f"{row.low:.3g} to {row.high:.3g}"
    noise = "" if row.mdc95 is None else f"± {row.mdc95:.2g}"
    least = "" if row.detectable is None else f"{row.detectable:.2g}{sign}"
    return row.title, _at(row.event), one, two, difference, interval, noise, least


def show_progress(progress: Progress, console: Console) -> None:
    """Print each metric's verdict, and when to film next."""
    table = Table("metric", "at", "gain", "noise", "retention", "verdict")
    for metric in progress.metrics:
        kept = metric.retention
        table.add_row(
            metric.title,
            _at(metric.event),
            "" if metric.gain is None else f"{metric.gain:+.3g} {metric.unit}",
            "" if metric.gain_mdc95 is None else f"± {metric.gain_mdc95:.2g}",
            "" if kept is None else f"{kept.value:.2f} ({kept.low:.2f} to {kept.high:.2f})",
            metric.verdict.value.replace("_", " "),
        )
    console.print(table)
    for kind, count in progress.repetitions_practised.items():
        console.print(f"Practised: {count} of kind {kind.value}", markup=False)
    if progress.next_check is not None:
        check = progress.next_check
        console.print(
            f"Film next between {check.not_before:%Y-%m-%d} and {check.not_after:%Y-%m-%d}. "
            f"{check.reason}",
            markup=False,
        )
    for note in progress.notes:
        console.print(f"- {note}", markup=False)


def show_plan(plan: PracticePlan, console: Console) -> None:
    """Print the focus, the steps with dose, cue and criteria, and the cautions."""
    if plan.focus is None:
        console.print("No finding of the rules holds for these serves.", markup=False)
    else:
        focus = plan.focus
        console.print(f"Focus: {focus.finding.text}", markup=False, style="bold")
        console.print(
            f"  measured {focus.value:.3g} ({focus.low:.3g} to {focus.high:.3g}) "
            f"{focus.finding.unit}, certainty {focus.certainty:.0%}; {focus.finding.source}",
            markup=False,
        )
    for number, step in enumerate(plan.steps, start=1):
        drill, dose = step.drill, step.drill.dose
        hold = "" if dose.hold_s is None else f", held {dose.hold_s:g} s"
        console.print(f"{number}. {drill.title} [{step.state}]", markup=False)
        console.print(f"   {drill.cue}", markup=False)
        console.print(
            f"   {dose.sets} x {dose.repetitions}{hold}, rest {dose.rest_s:g} s, "
            f"{dose.days_per_week} days a week. {drill.film.show}",
            markup=False,
        )
        for one in drill.advance_when:
            console.print(
                f"   move on when {one.metric} {one.is_} {one.value:g} {one.unit} in "
                f"{one.repetitions} repetitions",
                markup=False,
            )
    for line in plan.not_judged:
        console.print(f"Not judged: {line}", markup=False, style="dim")
    for caution in plan.cautions:
        console.print(caution, markup=False, style="dim")


def _at(event: EventName | None) -> str:
    return "" if event is None else event.value
