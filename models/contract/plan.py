"""Practice plan: rules a coach can edit, the plan they give, the decision on a drill clip."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from models.contract.analysis import CAUTIONS
from models.contract.base import SCHEMA_BASE, Document, Finite, Share, or_earlier
from models.contract.metric_names import KnownKey, check_condition
from models.contract.note import Note
from models.contract.refusals import Refusal, refused
from models.contract.thresholds import Relation, Threshold
from models.contract.vocabulary import EventName, RepetitionKind, View

PLAN_SCHEMA_ID: Final = "https://servewright.example/schemas/practice-plan.v3.json"
PLAN_SCHEMA_ID_V1: Final = SCHEMA_BASE + "practice-plan.v1.json"
PLAN_SCHEMA_ID_V2: Final = SCHEMA_BASE + "practice-plan.v2.json"
OUTCOME_SCHEMA_ID: Final = "https://servewright.example/schemas/drill-outcome.v3.json"
OUTCOME_SCHEMA_ID_V1: Final = SCHEMA_BASE + "drill-outcome.v1.json"
OUTCOME_SCHEMA_ID_V2: Final = SCHEMA_BASE + "drill-outcome.v2.json"


class Dose(Document):
    """How much of a drill."""

    sets: int = Field(ge=1, le=20)
    repetitions: int = Field(ge=1, le=100)
    hold_s: Finite | None = Field(default=None, gt=0, le=60)
    rest_s: Finite = Field(ge=0, le=600)
    days_per_week: int = Field(ge=1, le=7)


class Criterion(Document):
    """A measured condition, judged on each repetition of a drill clip."""

    metric: KnownKey
    event: EventName | None = None
    is_: Relation = Field(alias="is")
    value: Finite
    unit: str
    repetitions: int = Field(ge=1, description="How many repetitions must meet it.")
    otherwise: KnownKey | None = Field(
        default=None,
        description="Judged by this metric, at the same event and in the same unit, where films do "
        "not support the first.",
    )

    @model_validator(mode="after")
    def _can_be_met(self) -> Self:
        for key in filter(None, (self.metric, self.otherwise)):
            check_condition(key, self.event, self.unit)
        return self


class FilmAdvice(Document):
    """How to film the drill so that it can be measured."""

    views: tuple[View, ...] = Field(min_length=1)
    frame_rate: int = Field(ge=24, le=240)
    show: str


class Drill(Document):
    """One step of the progression."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    stage: RepetitionKind
    title: str
    cue: str = Field(description="Plain words, one idea.")
    dose: Dose
    film: FilmAdvice
    link: str | None = Field(
        default=None,
        pattern=r"^https://[^\s\"'<>\\]+$",
        max_length=2000,
        description="Address of a film that shows the drill; pages lead to it.",
    )
    advance_when: tuple[Criterion, ...] = Field(min_length=1)
    go_back_below: Share = Field(
        default=0.34, description="Go back a step when fewer repetitions than this share meet it."
    )


class Finding(Document):
    """A condition on a measured serve that calls for work."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    metric: KnownKey
    event: EventName | None = None
    is_: Relation = Field(alias="is", description="The finding holds when the value is this.")
    value: Finite
    unit: str
    scale: Finite = Field(gt=0, description="Size of a plain difference, same unit, for ranking.")
    text: str
    source: str = Field(description="Where the threshold comes from; or common practice.")
    drills: tuple[str, ...] = Field(min_length=1, description="Drill ids, first step first.")
    otherwise: KnownKey | None = Field(
        default=None,
        description="Judged by this metric, at the same event and in the same unit, where films do "
        "not support the first.",
    )

    @model_validator(mode="after")
    def _can_hold(self) -> Self:
        for key in filter(None, (self.metric, self.otherwise)):
            check_condition(key, self.event, self.unit)
        return self


class PracticeRules(Document):
    """A rule file."""

    version: Literal[1] = 1
    name: str = Field(min_length=1, max_length=200)
    findings: tuple[Finding, ...]
    drills: tuple[Drill, ...]
    cautions: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        known = {drill.id for drill in self.drills}
        if len(known) != len(self.drills):
            raise refused(Refusal.DRILL_IDS_REPEATED)
        if len({finding.id for finding in self.findings}) != len(self.findings):
            raise refused(Refusal.FINDING_IDS_REPEATED)
        for finding in self.findings:
            for drill in finding.drills:
                if drill not in known:
                    raise refused(Refusal.DRILL_NOT_DEFINED, finding=finding.id, drill=drill)
        return self


class RankedFinding(Document):
    """A finding that holds for this player, with how sure and how large."""

    finding: Finding
    value: Finite | None = Field(
        description="Null where the coil of the repetitions was judged, which has a probability "
        "and no value: `certainty`."
    )
    low: Finite | None
    high: Finite | None
    certainty: Share = Field(description="Probability that the value is past the threshold.")
    effect: Finite = Field(description="Distance past the threshold in units of the rule's scale.")
    measured_by: str | None = Field(
        default=None, description="Key of the metric that was judged; null = that of the finding."
    )


class UndecidedFinding(Document):
    """A finding of which the films say neither yes nor no."""

    ranked: RankedFinding
    how_to_film: Note


class PlanStep(Document):
    """One step of the plan: the drill, and where the player stands."""

    drill: Drill
    state: Literal["next", "later", "done"]


class PracticePlan(Document):
    """One focus, its steps in order, what else was found, and the cautions."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/practice-plan.v3.json"],
        or_earlier(PLAN_SCHEMA_ID, PLAN_SCHEMA_ID_V1, PLAN_SCHEMA_ID_V2),
    ] = Field(
        default=PLAN_SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `practice-plan.v1.json` "
        "`not_judged` and `cautions` hold bare sentences; before `practice-plan.v3.json` a finding "
        "was named from a certainty of 0.5 on, and `undecided` and `thresholds` are missing.",
    )
    rules: str
    focus: RankedFinding | None
    steps: tuple[PlanStep, ...]
    others: tuple[RankedFinding, ...] = ()
    undecided: tuple[UndecidedFinding, ...] = Field(
        default=(),
        description="Findings that were measured and are too close to call, with how to film so "
        "that they can be told. Neither worked on nor cleared.",
    )
    not_judged: tuple[Note, ...] = Field(
        default=(), description="Findings that could not be judged, with the reason."
    )
    thresholds: tuple[Threshold, ...] = Field(
        default=(), description="What the rules hold values against: pages draw these."
    )
    cautions: tuple[Note, ...] = CAUTIONS


class DrillDecision(StrEnum):
    """What a drill clip says."""

    ADVANCE = "advance"
    REPEAT = "repeat"
    GO_BACK = "go_back"
    FILM_AGAIN = "film_again"
    TOO_CLOSE = "too_close_to_call"


class CriterionOutcome(Document):
    """One criterion on one drill clip."""

    criterion: Criterion
    met: int = Field(ge=0, description="Repetitions that meet it.")
    surely_met: int = Field(ge=0, description="Of these, with the whole 95 % interval.")
    measured: int = Field(ge=0)
    enough: Share | None = Field(
        default=None,
        description="Probability that as many as asked truly meet it, by the uncertainty of the "
        "values; null where none was measured.",
    )
    measured_by: str | None = Field(
        default=None, description="Key of the metric that was judged; null = the criterion's own."
    )


class DrillOutcome(Document):
    """Judgement of the clips of one drill."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/drill-outcome.v3.json"],
        or_earlier(OUTCOME_SCHEMA_ID, OUTCOME_SCHEMA_ID_V1, OUTCOME_SCHEMA_ID_V2),
    ] = Field(
        default=OUTCOME_SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `drill-outcome.v1.json` "
        "the reason and the cautions are bare sentences; before `drill-outcome.v3.json` decisions "
        "went by point values.",
    )
    drill: str
    decision: DrillDecision
    certainty: Share | None = Field(
        default=None,
        description="Probability that the decision is right, by the uncertainty of the values; of "
        "`too_close_to_call`, that of the likeliest one. Null where too little was measured.",
    )
    next_drill: str | None
    outcomes: tuple[CriterionOutcome, ...]
    reason: Note
    cautions: tuple[Note, ...] = CAUTIONS
