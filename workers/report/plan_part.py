"""The practice plan in words, for any page that carries one."""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.note import Note
from models.contract.plan import Criterion, Dose, PlanStep, PracticePlan
from models.words import Words
from models.words.words import Named
from workers.report.findings import judged_otherwise, measured_words
from workers.report.page import repetitions, views


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step of the plan."""

    title: str
    state: str
    now: bool
    cue: str
    dose: str
    film: str
    move_on: str
    link: str | None = None


@dataclass(frozen=True, slots=True)
class PlanWords:
    """A plan, ready for a page."""

    focus: str
    focus_details: tuple[str, ...]
    steps: tuple[StepWords, ...]
    others: tuple[str, ...]
    not_judged: tuple[str, ...]
    undecided: tuple[str, ...] = ()
    focused: bool = True


def plan_words(plan: PracticePlan, words: Words) -> PlanWords:
    """Return the plan in words."""
    details: tuple[str, ...] = ()
    if plan.focus is None:
        focus = words("plan.no_focus_yet" if plan.undecided else "plan.no_focus")
    else:
        finding = plan.focus.finding
        focus = words("plan.focus", text=words.sentence(finding.text))
        sure = plan.focus.certainty
        certainty = (
            words("plan.certainty_most")
            if sure > 0.99
            else words("number.percent", value=words.number(100 * sure, 0))
        )
        details = (
            measured_words(plan.focus, words),
            *(() if plan.focus.measured_by is None else (judged_otherwise(plan.focus, words),)),
            words("plan.certainty", percent=certainty),
            words("plan.source", source=words.sentence(finding.source)),
        )
    steps = tuple(_step(step, words) for step in plan.steps)
    return PlanWords(
        focus=focus,
        focus_details=details,
        steps=steps,
        others=tuple(words.sentence(other.finding.text) for other in plan.others),
        undecided=tuple(
            words(
                "plan.undecided_line",
                text=words.sentence(one.ranked.finding.text),
                how=words.note(one.how_to_film),
            )
            for one in plan.undecided
        ),
        not_judged=tuple(_not_judged(line, words) for line in plan.not_judged),
        focused=plan.focus is not None,
    )


def next_lines(plan: PracticePlan, words: Words) -> tuple[str, ...]:
    """Return the one thing to do next: the drill in hand, or why there is none."""
    step = next((one for one in plan.steps if one.state == "next"), None)
    if step is not None:
        return words.sentence(step.drill.title), words.sentence(step.drill.cue)
    if plan.steps:
        return (words("plan.all_done"),)
    if plan.focus is None and plan.undecided:
        return words("plan.no_focus_yet"), words.note(plan.undecided[0].how_to_film)
    return (words("plan.no_focus"),)


def _step(step: PlanStep, words: Words) -> StepWords:
    drill = step.drill
    show = words.sentence(drill.film.show)
    places = views(drill.film.views, words)
    how = words("plan.film_how", views=words.beginning(places), rate=drill.film.frame_rate)
    criteria = [_criterion(criterion, words) for criterion in drill.advance_when]
    return StepWords(
        title=words.sentence(drill.title),
        state=words(f"plan.state_{step.state}"),
        now=step.state == "next",
        cue=words.sentence(drill.cue),
        dose=_dose(drill.dose, words),
        film=f"{words('plan.film', show=show)} {how}.",
        link=drill.link,
        move_on=words("plan.move_on", criteria=words("plan.criterion_join").join(criteria)),
    )


def _dose(dose: Dose, words: Words) -> str:
    values = {
        "sets": dose.sets,
        "repetitions": dose.repetitions,
        "rest": words.seconds(dose.rest_s, 0),
        "days": dose.days_per_week,
    }
    if dose.hold_s is None:
        return words("plan.dose", **values)
    return words("plan.dose_hold", hold=words.seconds(dose.hold_s, 0), **values)


def _criterion(criterion: Criterion, words: Words) -> str:
    named = Named(criterion.metric, criterion.unit)
    entry = "plan.criterion_least" if criterion.is_ == ">=" else "plan.criterion_most"
    title = words.title(named)
    return words(
        entry,
        title=words.inside(title),
        value=words.value(criterion.value, named, exact=True),
        count=repetitions(criterion.repetitions, words),
    )


def _not_judged(line: Note, words: Words) -> str:
    """Return a line on a finding of the rules, with its name in words."""
    name = line.parameters.get("finding")
    if not isinstance(name, str):
        return words.note(line)
    plain = words.sentence(name.replace("_", " ").capitalize())
    return words.note(line.model_copy(update={"parameters": {**line.parameters, "finding": plain}}))
