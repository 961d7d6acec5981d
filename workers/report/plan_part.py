"""The practice plan in words, for any page that carries one."""

from __future__ import annotations

from dataclasses import dataclass

from models.contract.plan import Criterion, Dose, PracticePlan
from models.words import Words
from workers.report.page import views


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step of the plan."""

    title: str
    state: str
    cue: str
    dose: str
    film: str
    move_on: str


@dataclass(frozen=True, slots=True)
class PlanWords:
    """A plan, ready for a page."""

    focus: str
    focus_details: tuple[str, ...]
    steps: tuple[StepWords, ...]
    others: tuple[str, ...]
    not_judged: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Named:
    """A metric known by its key and unit only."""

    key: str
    unit: str

    @property
    def title(self) -> str:
        return self.key.replace("_", " ").capitalize()


def plan_words(plan: PracticePlan, words: Words) -> PlanWords:
    """Return the plan in words."""
    details: tuple[str, ...] = ()
    if plan.focus is None:
        focus = words("plan.no_focus")
    else:
        finding = plan.focus.finding
        named = _Named(finding.metric, finding.unit)
        focus = words("plan.focus", text=finding.text)
        sure = plan.focus.certainty
        certainty = (
            words("plan.certainty_most")
            if sure > 0.99
            else words("number.percent", value=words.number(100 * sure, 0))
        )
        details = (
            words(
                "finding.measured",
                value=words.value(plan.focus.value, named),
                interval=words.interval(plan.focus.low, plan.focus.high, named),
            ),
            words("plan.certainty", percent=certainty),
            words("plan.source", source=finding.source),
        )
    steps = tuple(
        StepWords(
            title=step.drill.title,
            state=words(f"plan.state_{step.state}"),
            cue=step.drill.cue,
            dose=_dose(step.drill.dose, words),
            film=words("plan.film", show=step.drill.film.show)
            + " "
            + words(
                "plan.film_how",
                views=views(step.drill.film.views, words).capitalize(),
                rate=step.drill.film.frame_rate,
            )
            + ".",
            move_on=words(
                "plan.move_on",
                criteria=words("plan.criterion_join").join(
                    _criterion(criterion, words) for criterion in step.drill.advance_when
                ),
            ),
        )
        for step in plan.steps
    )
    return PlanWords(
        focus=focus,
        focus_details=details,
        steps=steps,
        others=tuple(other.finding.text for other in plan.others),
        not_judged=tuple(_plain(line) for line in plan.not_judged),
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
    named = _Named(criterion.metric, criterion.unit)
    entry = "plan.criterion_least" if criterion.is_ == ">=" else "plan.criterion_most"
    title = words.title(named)
    return words(
        entry,
        title=title[:1].lower() + title[1:],
        value=words.value(criterion.value, named, exact=True),
        repetitions=criterion.repetitions,
    )


def _plain(line: str) -> str:
    """Turn ``rule_id: reason`` into a line for people."""
    name, colon, reason = line.partition(":")
    return f"{name.replace('_', ' ').capitalize()}{colon}{reason}"
