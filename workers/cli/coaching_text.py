"""Readable summaries of comparisons, progress, plans and drill checks for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from models.contract.comparison import Comparison, MetricDifference, Verdict
from models.contract.plan import Criterion, DrillOutcome, PlanStep, PracticePlan
from models.contract.progress import Progress
from models.contract.vocabulary import EventName
from models.words import Words
from models.words.words import Named
from workers.report.beside_model import said_of
from workers.report.comparison_page import decides
from workers.report.findings import judged_otherwise, measured_words
from workers.report.progress_page import decides as decides_gain


def show_comparison(comparison: Comparison, console: Console, words: Words) -> None:
    """Print what changed, of what no change was seen, and what could not be told."""
    said = said_of(comparison, words)
    rows = comparison.differences
    shown = [row for row in rows if row.focus or row.verdict is Verdict.SURELY_CHANGED]
    first, second = comparison.first, comparison.second
    heads = (
        *("metric", "at", first, second, "difference", "interval", "noise"),
        *("seen_from", "says"),
    )
    table = Table(
        *(words(f"terminal.column_{h}") if isinstance(h, str) else h.label for h in heads),
        title=words(
            "terminal.differs_title"
            if said.model
            else "terminal.worked_on_title"
            if comparison.focus
            else "terminal.changed_title",
            first=first.repetitions,
            second=second.repetitions,
        ),
        title_justify="left",
    )
    for row in sorted(shown, key=lambda row: not row.focus):
        table.add_row(*_row(row, words), said(row.verdict.value))
    if shown:
        console.print(table)
    counts = {one.value: sum(row.verdict is one for row in rows) for one in Verdict}
    console.print(
        words("terminal.counts_model" if said.model else "terminal.counts", **counts), markup=False
    )
    if any(row.detectable is not None for row in shown):
        console.print(words("terminal.seen_from"), markup=False)
    reasons = {words.note(row.reason) for row in rows if row.reason}
    for line in [*map(words.note, comparison.notes), *sorted(reasons)]:
        console.print(f"- {line}", markup=False)


def _row(row: MetricDifference, words: Words) -> tuple[str, ...]:
    def amount(value: float | None, figures: int = 3) -> str:
        if value is None:
            return ""
        return words.with_unit(words.figures(value, figures), row.unit)

    interval = ""
    if row.low is not None and row.high is not None:
        low, high = words.figures(row.low, 3), words.figures(row.high, 3)
        interval = words("number.interval", low=low, high=high)
    return (
        words.title(row),
        _at(row.event, words),
        amount(row.first.value if row.first else None),
        amount(row.second.value if row.second else None),
        amount(row.difference),
        interval,
        "" if (least := decides(row)) is None else f"± {words.figures(least, 2)}",
        amount(row.detectable, 2),
    )


def show_progress(progress: Progress, console: Console, words: Words) -> None:
    """Print each metric's verdict, and when to film next."""
    if progress.answer is not None:
        console.print(words.note(progress.answer), markup=False, style="bold")
    names = ("metric", "at", "gain", "noise", "retention", "verdict")
    table = Table(*(words(f"terminal.column_{name}") for name in names))
    for metric in progress.metrics:
        gain = kept = ""
        if metric.gain is not None:
            gain = words.with_unit(words.figures(metric.gain, 3, sign=True), metric.unit)
        if metric.retention is not None:
            score = metric.retention
            value, low, high = (words.number(v, 2) for v in (score.value, score.low, score.high))
            kept = f"{value} ({words('number.interval', low=low, high=high)})"
        table.add_row(
            words.title(metric),
            _at(metric.event, words),
            gain,
            "" if (least := decides_gain(metric)) is None else f"± {words.figures(least, 2)}",
            kept,
            words(f"progress.verdict_{metric.verdict.value}"),
        )
    console.print(table)
    for kind, count in progress.repetitions_practised.items():
        console.print(words("terminal.practised", count=count, kind=kind.value), markup=False)
    if progress.next_check is not None:
        check = progress.next_check
        due = words(
            "terminal.film_next",
            first=words.date(check.not_before),
            last=words.date(check.not_after),
            reason=words.note(check.reason),
        )
        console.print(due, markup=False)
    for note in progress.notes:
        console.print(f"- {words.note(note)}", markup=False)


def show_plan(plan: PracticePlan, console: Console, words: Words) -> None:
    """Print the focus, the steps with dose, cue and criteria, and the cautions."""
    if plan.focus is None:
        entry = "plan.no_focus_yet" if plan.undecided else "terminal.no_finding"
        console.print(words(entry), markup=False)
    else:
        finding = plan.focus.finding
        text = words.sentence(finding.text)
        console.print(words("terminal.focus", text=text), markup=False, style="bold")
        detail = words(
            "terminal.focus_detail",
            measured=measured_words(plan.focus, words),
            certainty=plan.focus.certainty,
            source=words.sentence(finding.source),
        )
        console.print(f"  {detail}", markup=False)
        if plan.focus.measured_by is not None:
            console.print(f"  {judged_otherwise(plan.focus, words)}", markup=False)
    for number, step in enumerate(plan.steps, start=1):
        _show_step(number, step, console, words)
    for open_one in plan.undecided:
        text = words.sentence(open_one.ranked.finding.text)
        how = words.note(open_one.how_to_film)
        console.print(words("plan.undecided_line", text=text, how=how), markup=False)
    for line in plan.not_judged:
        console.print(
            words("terminal.not_judged", line=words.note(line)), markup=False, style="dim"
        )
    for caution in plan.cautions:
        console.print(words.note(caution), markup=False, style="dim")


def _show_step(number: int, step: PlanStep, console: Console, words: Words) -> None:
    drill, dose = step.drill, step.drill.dose
    title = words.sentence(drill.title)
    head = words("terminal.step", number=number, title=title, state=step.state)
    amount = words(
        "terminal.dose" if dose.hold_s is None else "terminal.dose_hold",
        sets=dose.sets,
        repetitions=dose.repetitions,
        hold=dose.hold_s,
        rest=dose.rest_s,
        days=dose.days_per_week,
        show=words.sentence(drill.film.show),
    )
    console.print(head, markup=False)
    console.print(f"   {words.sentence(drill.cue)}", markup=False)
    console.print(f"   {amount}", markup=False)
    for criterion in drill.advance_when:
        console.print(f"   {_criterion(criterion, words)}", markup=False)


def _criterion(criterion: Criterion, words: Words) -> str:
    metric = Named(criterion.metric, criterion.unit)
    return words(
        "terminal.move_on_least" if criterion.is_ == ">=" else "terminal.move_on_most",
        title=words.title(metric),
        value=words.value(criterion.value, metric, exact=True),
        repetitions=criterion.repetitions,
    )


def show_outcome(outcome: DrillOutcome, console: Console, words: Words) -> None:
    """Print the decision on a drill's clips, its reason, and the next drill."""
    said = words(
        "terminal.decision", decision=outcome.decision.value, reason=words.note(outcome.reason)
    )
    console.print(said, markup=False)
    if outcome.next_drill is not None:
        console.print(words("terminal.next_drill", drill=outcome.next_drill), markup=False)


def _at(event: EventName | None, words: Words) -> str:
    return "" if event is None else words.event(event)
