"""What the HTTP API takes and gives: clips, analyses, webhook endpoints, pages."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any, Final, Literal, Self

from pydantic import AfterValidator, Field

from models.contract.analysis import CAUTIONS, Analysis, Event, Metric
from models.contract.base import SCHEMA_BASE, Digest, Document, Finite, Share, or_earlier
from models.contract.clip import ClipFacts
from models.contract.faces import Faces
from models.contract.first_look import FirstLook
from models.contract.joint_options import JointOptions
from models.contract.note import Note
from models.contract.problem import Problem
from models.contract.refusals import Refusal, refused
from models.contract.vocabulary import (
    AnalysisStatus,
    EventName,
    Handedness,
    Language,
    RepetitionKind,
    Role,
    Sex,
    Stage,
    View,
)
from models.contract.webhook import EventType

METRICS_SCHEMA_ID: Final = "https://servewright.example/schemas/metrics.v2.json"
METRICS_SCHEMA_ID_V1: Final = SCHEMA_BASE + "metrics.v1.json"

ClipId = Annotated[str, Field(pattern=r"^clip_[0-9a-f]{32}$")]
AnalysisId = Annotated[str, Field(pattern=r"^ana_[0-9a-f]{32}$")]
SessionId = Annotated[str, Field(pattern=r"^ses_[0-9a-f]{32}$")]
RulesId = Annotated[str, Field(pattern=r"^rul_[0-9a-f]{32}$")]
EndpointId = Annotated[str, Field(pattern=r"^whe_[0-9a-f]{32}$")]
PRINTABLE_PATTERN = r"^[^\x00-\x1f\x7f]*$"

MAX_REFERENCE = 200
"""Longest reference of a caller's own, characters."""

ExternalRef = Annotated[
    str,
    Field(
        min_length=1,
        max_length=MAX_REFERENCE,
        pattern=PRINTABLE_PATTERN,
        description="Your own reference, returned as it is. Do not put names of people into it.",
    ),
]
Links = Annotated[dict[str, str], Field(description="Relation to address.")]


class MetadataState(StrEnum):
    """What was in a film's file beside pictures and sound: place, maker, names, notes."""

    NONE = "none"
    REMOVED = "removed"
    KEPT = "kept"


class ClipResource(Document):
    """An uploaded film, or an uploaded file of joints: `media_type` says which."""

    id: ClipId
    state: Literal["uploading", "ready"] = Field(
        description="uploading: announced for direct upload and not completed yet."
    )
    created_at: datetime
    media_type: str
    size_bytes: int | None = Field(ge=0)
    sha256: Digest | None = Field(
        description="Of what is stored: another than of what was sent where metadata was removed."
    )
    metadata: MetadataState | None = Field(
        default=None,
        description="Metadata that does not play (places, maker, names, notes): `none` was there, "
        "it was `removed` when the film came in, or the file is built so that it had to be `kept`. "
        "Null = not a film, not here yet, or from before this was done.",
    )
    external_ref: str | None = None
    session_id: SessionId | None = Field(default=None, description="Session it was filmed in.")
    facts: ClipFacts | None = Field(
        default=None, description="Read from the file by the first analysis."
    )
    links: Links = Field(default_factory=dict)


class DirectUpload(Document):
    """Where to send the film: a multipart form with these fields and then ``file``."""

    clip: ClipResource
    method: Literal["POST"] = "POST"
    url: str
    fields: dict[str, str]
    expires_in_s: int
    links: Links = Field(default_factory=dict)


class AnalysisOptions(Document):
    """What you know about the film, or about the joints.

    What is left out comes from the player of the clip's session (height, handedness, sex, drill),
    else it is estimated or assumed.
    """

    height_m: Finite | None = Field(
        default=None, ge=0.8, le=2.5, description="Standing height of the player, metres."
    )
    handedness: Handedness = Handedness.UNKNOWN
    view: View = View.UNKNOWN
    azimuth_deg: Finite | None = Field(
        default=None,
        ge=0,
        lt=360,
        description="Camera azimuth about the server: 0 = from the net, 90 = facing the chest.",
    )
    sex: Sex = Sex.UNKNOWN
    capture_fps: Finite | None = Field(
        default=None,
        gt=0,
        le=2000,
        description="Rate the camera recorded at, for slow motion that plays at another rate.",
    )
    drill: RepetitionKind | None = Field(
        default=None,
        description="What the swings are, where you know it: from joints alone an upward throw "
        "looks like a serve.",
    )
    annotated_film: bool = Field(
        default=False,
        description="Also make the film of the repetitions with marks and live numbers drawn in.",
    )
    language: Language = Field(
        default=Language.ENGLISH,
        description="Language of the report, the pictures and the film.",
    )
    faces: Faces = Field(
        default=Faces.SHOWN,
        description="Whether pictures and films show faces. hidden: every head that is found is "
        "made unrecognisable, others' heads too. The uploaded film stays as it is.",
    )
    rules_id: RulesId | None = Field(
        default=None,
        description="Practice rules whose limits page, pictures and film show; not for an analysis "
        "that a film starts when it arrives. Null = the shipped rules.",
    )
    models: tuple[str, ...] | None = Field(
        default=None,
        min_length=1,
        max_length=4,
        description="Pose networks by name, the main one first; null = the operator's choice.",
    )
    joints: JointOptions | None = Field(
        default=None, description="For joints from elsewhere (`POST /v1/joints`) alone."
    )


def _of_a_film(options: AnalysisOptions) -> AnalysisOptions:
    """Refuse what a film cannot heed: when it arrives there is nobody to tell."""
    if options.joints is not None:
        raise refused(Refusal.OPTIONS_OF_JOINTS)
    if options.rules_id is not None:  # which may be gone by then
        raise refused(Refusal.RULES_ON_ARRIVAL)
    return options


FilmOptions = Annotated[AnalysisOptions, AfterValidator(_of_a_film)]
"""Options of the analysis that a film starts when it arrives."""


class ClipChange(Document):
    """Files a film elsewhere; what is left out stays as it is, null takes a value away."""

    session_id: SessionId | None = Field(
        default=None, description="A session, of the same player or of another; null = none."
    )
    external_ref: ExternalRef | None = None


class DirectUploadRequest(Document):
    """Announces a film that you will send straight to the object store."""

    size_bytes: int = Field(gt=0)
    sha256: Digest
    media_type: str = Field(default="video/mp4", pattern=r"^video/[a-z0-9.+-]{1,60}$")
    external_ref: ExternalRef | None = None
    session_id: SessionId | None = None
    analyse: FilmOptions | None = Field(
        default=None, description="Start an analysis with these options once the film is in."
    )


ROLE = (
    "model: an example that players are held against in comparisons, whoever serves in it. It is "
    "left out where a player's own films are taken: plans, progress, sessions as material."
)


class AnalysisRequest(Document):
    """Asks for the analysis of a clip."""

    clip_id: ClipId
    same_serve: ClipId | None = Field(
        default=None,
        description="Clip of another film of the same serve, by a second camera that stands 60 to "
        "100 degrees apart, seen from the player. Both give one body; `view`, `azimuth_deg` and "
        "`capture_fps` are those of `clip_id`. Films that are no such pair fail with "
        "`films_no_pair`, which says what to film instead.",
    )
    options: AnalysisOptions = Field(default_factory=AnalysisOptions)
    role: Role = Field(default=Role.PLAYER, description=ROLE)
    external_ref: ExternalRef | None = None


class AnalysisChange(Document):
    """Says whose serves an analysis shows."""

    role: Role = Field(description=ROLE)


class AnalysisResource(Document):
    """An analysis: where it stands, and where its results are."""

    id: AnalysisId
    clip_id: ClipId
    same_serve: ClipId | None = Field(
        default=None, description="Clip of the second film of the serve, if there is one."
    )
    status: AnalysisStatus
    stage: Stage | None = None
    progress: Share
    attempt: int = Field(ge=1)
    created_at: datetime
    started_at: datetime | None = None
    finished_at: datetime | None = None
    options: AnalysisOptions
    role: Role = Role.PLAYER
    external_ref: str | None = None
    headline: dict[str, Any] = Field(default_factory=dict)
    time_left_s: Finite | None = Field(
        default=None,
        ge=0,
        description="Estimated seconds to the end, as of the worker's last sign of life, from what "
        "earlier analyses have cost its machine. Null while not running, and before the machine "
        "has completed one.",
    )
    first_look: FirstLook | None = Field(
        default=None,
        description="Early verdict on the film: known long before the rest is done.",
    )
    problem: Problem | None = Field(default=None, description="Why it failed, and what to do.")
    pictures: tuple[str, ...] = ()
    links: Links = Field(default_factory=dict)


class WebhookEndpointRequest(Document):
    """Registers an address that events are sent to."""

    url: str = Field(min_length=8, max_length=2000, pattern=r"^https?://[!-~]+$")
    description: str | None = Field(default=None, max_length=200, pattern=PRINTABLE_PATTERN)
    event_types: tuple[EventType, ...] = Field(
        default=(), max_length=20, description="Empty = every type."
    )


class WebhookEndpointChange(Document):
    """Changes an endpoint; what is left out stays as it is."""

    url: str | None = Field(
        default=None, min_length=8, max_length=2000, pattern=r"^https?://[!-~]+$"
    )
    description: str | None = Field(default=None, max_length=200, pattern=PRINTABLE_PATTERN)
    event_types: tuple[EventType, ...] | None = Field(default=None, max_length=20)
    enabled: bool | None = None


class WebhookEndpointResource(Document):
    """An address that events are sent to."""

    id: EndpointId
    url: str
    description: str | None = None
    event_types: tuple[EventType, ...] = ()
    enabled: bool
    disabled_reason: Literal["gone"] | None = Field(
        default=None,
        description="Why the service switched it off. gone: it answered 410. Switch it on again "
        "with `enabled: true`; what waited is sent then.",
    )
    disabled_at: datetime | None = None
    previous_secret_until: datetime | None = Field(
        default=None, description="Messages bear a signature of the former secret until then."
    )
    created_at: datetime
    updated_at: datetime
    links: Links = Field(default_factory=dict)


class WebhookEndpointCreated(WebhookEndpointResource):
    """A new endpoint with its secret, which is shown only here."""

    secret: str = Field(description="Standard Webhooks secret (whsec_…). Keep it safe.")


class ClipPage(Document):
    """One page of clips, newest first."""

    items: tuple[ClipResource, ...]
    next_cursor: str | None = None


class AnalysisPage(Document):
    """One page of analyses, newest first."""

    items: tuple[AnalysisResource, ...]
    next_cursor: str | None = None


class WebhookEndpointPage(Document):
    """One page of webhook endpoints, newest first."""

    items: tuple[WebhookEndpointResource, ...]
    next_cursor: str | None = None


class RepetitionEvents(Document):
    """The events of one repetition."""

    kind: RepetitionKind
    start_s: Finite
    end_s: Finite
    events: dict[EventName, Event]


class Events(Document):
    """The ``events`` document of an analysis: when things happen, nothing else."""

    schema_id: str = Field(default=SCHEMA_BASE + "events.v1.json", alias="schema")
    repetitions: tuple[RepetitionEvents, ...]

    @classmethod
    def of(cls, analysis: Analysis) -> Self:
        """Return the events of an analysis."""
        return cls(
            repetitions=tuple(
                RepetitionEvents(
                    kind=one.kind, start_s=one.start_s, end_s=one.end_s, events=one.events
                )
                for one in analysis.repetitions
            )
        )


class RepetitionMetrics(Document):
    """The metrics of one repetition."""

    kind: RepetitionKind
    start_s: Finite
    end_s: Finite
    metrics: tuple[Metric, ...]


class Metrics(Document):
    """The ``metrics`` document of an analysis: the values, nothing else."""

    schema_id: Annotated[
        Literal["https://servewright.example/schemas/metrics.v2.json"],
        or_earlier(METRICS_SCHEMA_ID, METRICS_SCHEMA_ID_V1),
    ] = Field(
        default=METRICS_SCHEMA_ID,
        alias="schema",
        description="Says the version. In documents of `metrics.v1.json` "
        "reasons and cautions are bare sentences.",
    )
    repetitions: tuple[RepetitionMetrics, ...]
    cautions: tuple[Note, ...] = CAUTIONS

    @classmethod
    def of(cls, analysis: Analysis) -> Self:
        """Return the metrics of an analysis."""
        return cls(
            repetitions=tuple(
                RepetitionMetrics(
                    kind=one.kind, start_s=one.start_s, end_s=one.end_s, metrics=one.metrics
                )
                for one in analysis.repetitions
            )
        )
