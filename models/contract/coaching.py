"""What the HTTP API takes and gives beyond single analyses: players, sessions, derived documents,
practice rules.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self

from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field, model_validator

from models.contract.base import Document, Finite, Share
from models.contract.metric_names import KnownName
from models.contract.note import Note
from models.contract.problem import Problem
from models.contract.progress import SessionKind
from models.contract.refusals import Refusal, refused
from models.contract.resources import (
    PRINTABLE_PATTERN,
    AnalysisId,
    ExternalRef,
    Links,
    RulesId,
    SessionId,
)
from models.contract.vocabulary import (
    AnalysisStatus,
    DerivedKind,
    Handedness,
    Language,
    RepetitionKind,
    Sex,
)
from models.contract.voices import VoiceId

PLAYER_SCHEMA_ID: Final = "https://servewright.example/schemas/player.v2.json"

PlayerId = Annotated[str, Field(pattern=r"^ply_[0-9a-f]{32}$")]
PlanId = Annotated[str, Field(pattern=r"^pln_[0-9a-f]{32}$")]
DerivedId = Annotated[str, Field(pattern=r"^(cmp|prg|pln|drl)_[0-9a-f]{32}$")]
RuleKey = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,79}$")]
Height = Annotated[Finite, Field(ge=0.8, le=2.5, description="Standing height, metres.")]
BirthYear = Annotated[
    int,
    Field(ge=1900, le=2100, description="Enough to know whether the player may be under 18."),
]
Notes = Annotated[
    str,
    Field(
        max_length=2000,
        pattern=r"^[^\x00]*$",
        description="Free text of the coach. It is erased with the player.",
    ),
]
Label = Annotated[str, Field(min_length=1, max_length=60, pattern=PRINTABLE_PATTERN)]
FIRST_YEAR, LAST_YEAR = 1900, 2200
"""Years within which a date is no slip of the keyboard."""


def _sensible(moment: datetime) -> datetime:
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise refused(Refusal.YEAR_OUT_OF_RANGE, first=FIRST_YEAR, last=LAST_YEAR)
    return moment


Moment = Annotated[AwareDatetime, AfterValidator(_sensible)]
FilmedAt = Annotated[Moment, Field(description="With its offset from UTC.")]


class ServeSpeed(Document):
    """Ball speed of the serve as somebody states it, and who. What films show is `ball_speed`."""

    value_m_s: Finite = Field(gt=0, le=90)
    source: Literal["self_reported", "radar"]


class PlayerRequest(Document):
    """A player, as the integrating app knows them. No names are needed."""

    external_id: ExternalRef
    handedness: Handedness = Handedness.UNKNOWN
    height_m: Height | None = None
    sex: Sex = Field(default=Sex.UNKNOWN, description="Chooses the body-segment table only.")
    birth_year: BirthYear | None = None
    notes: Notes | None = None


class PlayerChange(Document):
    """Changes a player; what is left out stays as it is, null takes a value away."""

    external_id: ExternalRef | None = None
    handedness: Handedness | None = None
    height_m: Height | None = None
    sex: Sex | None = None
    birth_year: BirthYear | None = None
    notes: Notes | None = None


class PlayerResource(Document):
    """A player."""

    id: PlayerId
    external_id: str
    handedness: Handedness
    height_m: Finite | None
    sex: Sex
    birth_year: int | None
    notes: str | None
    may_be_minor: bool = Field(description="By year of birth; true when that is not known.")
    created_at: datetime
    updated_at: datetime
    cautions: tuple[Note, ...] = ()
    schema_id: Literal["https://servewright.example/schemas/player.v2.json"] = Field(
        default=PLAYER_SCHEMA_ID,
        alias="schema",
        description="Says the version. In `player.v1.json` the cautions were bare sentences.",
    )
    links: Links = Field(default_factory=dict)


class SessionRequest(Document):
    """One occasion on which a player was filmed."""

    kind: SessionKind
    filmed_at: FilmedAt
    drill_stage: RepetitionKind | None = Field(
        default=None, description="What was done, where it was not plain serving."
    )
    drill_id: RuleKey | None = Field(default=None, description="Drill of the practice rules.")
    serve_speed: ServeSpeed | None = None
    notes: Notes | None = None


class SessionChange(Document):
    """Changes a session; what is left out stays as it is, null takes a value away."""

    kind: SessionKind | None = None
    filmed_at: FilmedAt | None = None
    drill_stage: RepetitionKind | None = None
    drill_id: RuleKey | None = None
    serve_speed: ServeSpeed | None = None
    notes: Notes | None = None


class SessionResource(Document):
    """A session. Send its films with ``session_id``."""

    id: SessionId
    player_id: PlayerId
    kind: SessionKind
    filmed_at: datetime
    drill_stage: RepetitionKind | None
    drill_id: str | None
    serve_speed: ServeSpeed | None
    notes: str | None
    created_at: datetime
    updated_at: datetime
    links: Links = Field(default_factory=dict)


def _needs_one_of(*ways: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """Return what the JSON Schema of a document says of members of which some are needed."""
    return {"anyOf": [{"required": list(way), "properties": way} for way in ways]}


Analyses = Annotated[tuple[AnalysisId, ...], Field(max_length=50)]
Sessions = Annotated[tuple[SessionId, ...], Field(max_length=50)]


class Material(Document):
    """Completed analyses, named one by one or by the sessions that hold them.

    A session stands for the newest completed analysis of each of its clips.
    """

    model_config = ConfigDict(
        # In allOf, since code generators take a bare anyOf for the whole of an object.
        json_schema_extra={
            "allOf": [_needs_one_of({"analyses": {"minItems": 1}}, {"sessions": {"minItems": 1}})]
        }
    )

    analyses: Analyses = ()
    sessions: Sessions = ()

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not self.analyses and not self.sessions:
            raise refused(Refusal.MATERIAL_MISSING)
        return self


class ComparisonSideRequest(Document):
    """One side of a comparison: completed analyses, or the model serve that is shipped."""

    model_config = ConfigDict(
        json_schema_extra={
            "allOf": [
                _needs_one_of(
                    {"analyses": {"minItems": 1}},
                    {"sessions": {"minItems": 1}},
                    {"model": {"type": "string"}},
                ),
                {
                    "not": {
                        "required": ["model"],
                        "properties": {"model": {"type": "string"}},
                        **_needs_one_of(
                            {"analyses": {"minItems": 1}}, {"sessions": {"minItems": 1}}
                        ),
                    }
                },
            ]
        }
    )

    label: Label
    analyses: Analyses = ()
    sessions: Sessions = ()
    model: Literal["shipped"] | None = Field(
        default=None,
        description="The shipped model serve: one rendered body, filmed from the side. Your own: "
        "analyses whose `role` is `model`.",
    )

    @model_validator(mode="after")
    def _something(self) -> Self:
        named = bool(self.analyses or self.sessions)
        if named and self.model is not None:
            raise refused(Refusal.MODEL_AND_MATERIAL)
        if not named and self.model is None:
            raise refused(Refusal.MATERIAL_MISSING)
        return self


Message = Annotated[
    str,
    Field(
        min_length=1,
        max_length=1000,
        description="The coach's own words; they stand on the first screen of the report as they "
        "are written.",
    ),
]


Voice = Annotated[
    VoiceId | None,
    Field(
        description="A voice message for the player (`/v1/players/{player_id}/voices`), which the "
        "page plays."
    ),
]


class ComparisonRequest(Document):
    """Asks for the comparison of two sides: before/after, player/model, practice/match."""

    first: ComparisonSideRequest
    second: ComparisonSideRequest
    kind: RepetitionKind = RepetitionKind.SERVE
    film: bool = Field(default=True, description="Also make the side-by-side film.")
    same_player: bool | None = Field(
        default=None,
        description="Both sides show one player: from one camera place, smaller changes are seen. "
        "Null = known from the sessions of the clips.",
    )
    focus: tuple[KnownName, ...] = Field(
        default=(),
        max_length=8,
        description="What was worked on, named before looking at the result: metric keys, or "
        "key@event. Smaller changes of these are seen, at the price of the others.",
    )
    rules_id: RulesId | None = Field(
        default=None,
        description="Whose goals say which way a change went, and are drawn. Null = the shipped "
        "rules.",
    )
    message: Message | None = None
    voice_id: Voice = None
    language: Language = Field(default=Language.ENGLISH, description="Language of the report.")
    external_ref: ExternalRef | None = None


class ProgressRequest(Document):
    """Asks for a player's progress over all sessions that hold a completed analysis."""

    kind: RepetitionKind = RepetitionKind.SERVE
    focus: tuple[KnownName, ...] = Field(
        default=(),
        max_length=8,
        description="What was worked on, as in a comparison: the answer and a relapse are about "
        "it.",
    )
    rules_id: RulesId | None = Field(
        default=None,
        description="Whose goals say which way a gain went, and whose doses were planned. Null = "
        "the shipped rules.",
    )
    message: Message | None = None
    voice_id: Voice = None
    language: Language = Field(default=Language.ENGLISH, description="Language of the report.")
    external_ref: ExternalRef | None = None


class PlanRequest(Document):
    """Asks for a practice plan.

    Without analyses and sessions it is made from the newest session of plain serves.
    """

    analyses: Analyses = ()
    sessions: Sessions = ()
    rules_id: RulesId | None = Field(default=None, description="Null = the shipped rules.")
    done: tuple[RuleKey, ...] = Field(
        default=(), max_length=50, description="Drills whose criteria were met before."
    )
    message: Message | None = None
    voice_id: Voice = None
    language: Language = Field(default=Language.ENGLISH, description="Language of the report.")
    external_ref: ExternalRef | None = None


class DrillCheckRequest(Material):
    """Asks whether the clips of a drill meet its exit criteria.

    Name the plan (its focus and next drill are meant unless others are named), or finding and
    drill of the rules.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "allOf": [
                _needs_one_of({"analyses": {"minItems": 1}}, {"sessions": {"minItems": 1}}),
                _needs_one_of(
                    {"plan_id": {"type": "string"}},
                    {"finding": {"type": "string"}, "drill": {"type": "string"}},
                ),
            ]
        }
    )

    plan_id: PlanId | None = None
    finding: RuleKey | None = None
    drill: RuleKey | None = None
    rules_id: RulesId | None = Field(
        default=None, description="Null = the rules of the plan, else the shipped ones."
    )
    external_ref: ExternalRef | None = None

    @model_validator(mode="after")
    def _drill_is_named(self) -> Self:
        if self.plan_id is None and (self.finding is None or self.drill is None):
            raise refused(Refusal.STEP_MISSING)
        return self


class DerivedResource(Document):
    """A document made from analyses: where it stands, and where its results are."""

    id: DerivedId
    kind: DerivedKind
    player_id: PlayerId | None = None
    analyses: tuple[AnalysisId, ...] = Field(description="What it is made from.")
    status: AnalysisStatus
    progress: Share
    attempt: int = Field(ge=1)
    created_at: datetime
    started_at: datetime | None = None
    finished_at: datetime | None = None
    external_ref: str | None = None
    headline: dict[str, Any] = Field(default_factory=dict)
    problem: Problem | None = Field(default=None, description="Why it failed, and what to do.")
    pictures: tuple[str, ...] = ()
    links: Links = Field(default_factory=dict)


class PlayerPage(Document):
    """One page of players, newest first."""

    items: tuple[PlayerResource, ...]
    next_cursor: str | None = None


class SessionPage(Document):
    """One page of sessions, newest first."""

    items: tuple[SessionResource, ...]
    next_cursor: str | None = None


class DerivedPage(Document):
    """One page of derived documents, newest first."""

    items: tuple[DerivedResource, ...]
    next_cursor: str | None = None
