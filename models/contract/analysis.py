"""The result of an analysis: the contract's core."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, field_validator, model_validator

from models.contract.base import SCHEMA_BASE, Digest, Document, Finite, Share, or_earlier
from models.contract.clip import ClipFacts, Usability
from models.contract.coil import CoilJudgement
from models.contract.faces import Faces
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.problem import Problem
from models.contract.thresholds import Threshold
from models.contract.typical import Typical
from models.contract.views import SecondView
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, Sex, View

SCHEMA_ID: Final = "https://servewright.example/schemas/analysis.v2.json"
SCHEMA_ID_V1: Final = SCHEMA_BASE + "analysis.v1.json"

CAUTIONS: tuple[Note, ...] = (
    note(NoteCode.ESTIMATES_FROM_FILM),
    note(NoteCode.NOT_MEDICAL_ADVICE),
    note(NoteCode.LOCAL_RULES_FIRST),
)


MINOR_CAUTIONS: tuple[Note, ...] = (
    note(NoteCode.MINOR_MAY_BE_GROWING),
    note(NoteCode.MINOR_FILMS_ERASED),
)
"""Added wherever a player may be a minor: by the year of birth, or where that is not known."""


class Event(Document):
    """One instant of a serve, on the clip's own timestamps."""

    time_s: Finite
    frame: int = Field(ge=0, description="Index of the nearest frame.")
    uncertainty_s: Finite = Field(ge=0, description="Standard uncertainty of time_s, seconds.")
    confidence: Share = Field(
        description="Probability that the event lies within 1.96 of its uncertainty_s, as films "
        "with known truth showed."
    )
    method: str | None = Field(
        default=None,
        description="What told the time, the strongest first, joined by +: `ball` seen, `sound` "
        "heard, `hand`, `hips`, `knees`, `elbow`, `body` of the player, `contact` (usual time "
        "before it), `learned`. Null in results of earlier engines.",
    )


class Metric(Document):
    """One measured value, or the reason why there is none.

    ``low`` and ``high`` bound the 95 % interval.
    """

    key: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    title: str
    event: EventName | None = Field(description="Instant it is taken at; null = whole serve.")
    value: Finite | None
    low: Finite | None
    high: Finite | None
    correction: Finite | None = Field(
        default=None,
        description="Calibrated bias that was taken out: what was seen is value + correction, "
        "within the bounds of the quantity. Null where none is known.",
    )
    repeat_sd: Finite | None = Field(
        default=None,
        ge=0,
        description="Standard uncertainty against another film of the same player from the same "
        "camera place, where what errs alike in both drops out; null where not known.",
    )
    session_sd: Finite | None = Field(
        default=None,
        ge=0,
        description="The part of repeat_sd that all serves of one session share; the rest differs "
        "from serve to serve and shrinks with their count. Null where not known.",
    )
    shown_share: Finite | None = Field(
        default=None,
        gt=0,
        le=1,
        description="Films of one player show less of a true change than there is: at least this "
        "share of it (97.5 %). Null where not known.",
    )
    usual_shown_share: Finite | None = Field(
        default=None,
        gt=0,
        description="The share of a true change that films of one player usually show. Null where "
        "not known.",
    )
    unit: str = Field(description="UCUM-like unit: deg, s, ms, m, m/s, deg/s, 1 (ratio).")
    measurable: bool
    reason: Note | None = Field(description="Why it is not measurable, and from where it would be.")
    method: str
    reference: str | None = Field(description="Published value with its source, where one exists.")

    @model_validator(mode="after")
    def _value_or_reason(self) -> Self:
        if self.measurable:
            if self.value is None or self.low is None or self.high is None:
                raise ValueError("a measurable metric needs value, low and high")
            if not self.low <= self.value <= self.high:
                raise ValueError("low <= value <= high does not hold")
        elif self.value is not None or not self.reason:
            raise ValueError("a metric that is not measurable has a reason and no value")
        return self


class Repetition(Document):
    """One serve, shadow swing, throw or static hold."""

    kind: RepetitionKind
    start_s: Finite
    end_s: Finite
    confidence: Share
    events: dict[EventName, Event] = Field(default_factory=dict)
    metrics: tuple[Metric, ...] = ()
    coil: CoilJudgement | None = Field(
        default=None,
        description="Whether the player turned away from the target or only bent, from set-up to "
        "loading; null for holds and in results of earlier engines.",
    )


class ViewEstimate(Document):
    """Camera position about the server. Azimuth as in the vocabulary of views."""

    label: View
    azimuth_deg: Finite | None = None
    azimuth_low: Finite | None = None
    azimuth_high: Finite | None = None
    source: Literal["given", "estimated", "unknown"] = "estimated"


class Scale(Document):
    """Where metres come from."""

    metres_per_body_height: Finite | None = Field(default=None, gt=0)
    source: Literal["given", "assumed", "free_fall", "joints_in", "unknown"]
    uncertainty_m: Finite | None = Field(default=None, ge=0)


class ModelUse(Document):
    """A pose network, or a file learned from films with known truth, that took part."""

    name: str
    sha256: Digest
    licence: str | None = None
    role: Literal["network", "learned"] = Field(
        default="network",
        description="`network`: gives joints; `learned`: part of the engine, and of its identity.",
    )


class Analysis(Document):
    """Everything measured in one clip."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/analysis.v2.json"],
        or_earlier(SCHEMA_ID, SCHEMA_ID_V1),
    ] = Field(
        default=SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `analysis.v1.json` "
        "reasons, details and cautions are bare sentences.",
    )
    clip: ClipFacts
    view: ViewEstimate
    handedness: Handedness
    handedness_source: Literal["given", "estimated", "unknown"] = "estimated"
    sex: Sex = Sex.UNKNOWN
    scale: Scale
    usability: Usability
    repetitions: tuple[Repetition, ...] = ()
    typical: Typical | None = Field(
        default=None,
        description="What several repetitions have in common, and which of them differs; null for "
        "fewer than two of one kind.",
    )
    second_view: SecondView | None = Field(
        default=None,
        description="Another film of the same serve that the values come from as well; null where "
        "there was one film.",
    )
    faces: Faces = Field(
        default=Faces.SHOWN, description="Whether its pictures and film show faces, if it has any."
    )
    rules: str | None = Field(
        default=None,
        description="Name of the practice rules that its page, pictures and film were made by; "
        "null = the shipped ones.",
    )
    thresholds: tuple[Threshold, ...] | None = Field(
        default=None, description="What these rules hold values against; null = the shipped rules'."
    )
    problems: tuple[Problem, ...] = ()
    models: tuple[ModelUse, ...] = ()
    engine_version: str
    engine_identity: Digest | None = Field(
        default=None,
        description="Digest over the engine's code and its learned files: results of one identity "
        "were made by the same engine. Null in results made before it was stated.",
    )
    cautions: tuple[Note, ...] = CAUTIONS

    @field_validator("schema_id")
    @classmethod
    def _of_this_version(cls, schema_id: str) -> str:
        """Refuse a later version, whose values may mean something else."""
        if schema_id != SCHEMA_ID:
            raise ValueError(f"the schema is {schema_id}; this version reads {SCHEMA_ID}")
        return schema_id
