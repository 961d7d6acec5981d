"""Closed vocabularies of the contract: terms of the serve literature, no abbreviations."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal


class View(StrEnum):
    """Where the camera stands, by azimuth about the server.

    Azimuth 0 deg = from the net, 90 = facing the chest of the side-on stance, 180 = behind.
    ``front`` <= 15 < ``front_quarter`` < 72 <= ``side`` <= 108 < ``rear_quarter`` < 165 <=
    ``behind``. ``back_side`` looks at the back of the side-on stance (azimuth about 270).
    Angles past 180 share the names of their mirror image, except around 270.
    """

    FRONT = "front"
    FRONT_QUARTER = "front_quarter"
    SIDE = "side"
    REAR_QUARTER = "rear_quarter"
    BEHIND = "behind"
    BACK_SIDE = "back_side"
    UNKNOWN = "unknown"


class Handedness(StrEnum):
    """The hand that holds the racket."""

    RIGHT = "right"
    LEFT = "left"
    UNKNOWN = "unknown"


class RepetitionKind(StrEnum):
    """What one repetition of work is."""

    SERVE = "serve"
    SHADOW = "shadow"
    THROW = "throw"
    HOLD = "hold"


class EventName(StrEnum):
    """Instants of a serve, in the order in which they occur (``loading`` is near ``trophy``)."""

    SET_UP = "set_up"
    RELEASE = "release"
    LOADING = "loading"
    TROPHY = "trophy"
    RACKET_LOW = "racket_low"
    CONTACT = "contact"
    FINISH = "finish"


class Sex(StrEnum):
    """Chooses the body-segment table; ``unknown`` averages the two."""

    FEMALE = "female"
    MALE = "male"
    UNKNOWN = "unknown"


class Severity(StrEnum):
    """What a problem means for the result."""

    BLOCKING = "blocking"
    WARNING = "warning"
    NOTE = "note"


class AnalysisStatus(StrEnum):
    """Life of an analysis."""

    QUEUED = "queued"
    RUNNING = "running"
    COMPLETED = "completed"
    FAILED = "failed"
    CANCELLED = "cancelled"


class Role(StrEnum):
    """Whose serves an analysis shows: a player's, or a model's to hold players' against."""

    PLAYER = "player"
    MODEL = "model"


class WorkKind(StrEnum):
    """What queued work makes: the analysis of a film, or a document made from analyses."""

    ANALYSIS = "analysis"
    COMPARISON = "comparison"
    PROGRESS = "progress"
    PLAN = "plan"
    DRILL_CHECK = "drill_check"


DerivedKind = Literal[WorkKind.COMPARISON, WorkKind.PROGRESS, WorkKind.PLAN, WorkKind.DRILL_CHECK]
"""A document that is made from the results of analyses."""


class Language(StrEnum):
    """Language of pages, pictures, films and terminal text (BCP 47)."""

    ENGLISH = "en"
    GERMAN = "de"


class Stage(StrEnum):
    """Stages of the pipeline, in order."""

    PROBE = "probe"
    DECODE = "decode"
    POSE = "pose"
    SERVE = "serve"
    PICTURES = "pictures"
    STORE = "store"
