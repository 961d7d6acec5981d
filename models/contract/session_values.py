"""One value a metric of a session whose serves were filmed from several places, in turn."""

from __future__ import annotations

from typing import Final, Literal

from pydantic import Field

from models.contract.analysis import CAUTIONS
from models.contract.base import Document, Finite, Share
from models.contract.note import Note
from models.contract.vocabulary import EventName, RepetitionKind, View

SCHEMA_ID: Final = "https://servewright.example/schemas/session-values.v1.json"


class FilmedPlace(Document):
    """One camera place of the session."""

    view: View
    azimuth_deg: Finite | None = Field(
        default=None, description="Mean of its films, degrees; null where not known."
    )
    both_views: bool = Field(
        default=False, description="Its serves were filmed by two cameras at once."
    )
    analyses: tuple[str, ...] = Field(description="Analysis ids; file names on the command line.")
    repetitions: int = Field(ge=0)


class PlaceValue(Document):
    """What one place alone says of a metric."""

    place: int = Field(ge=1, description="Number of the place, counted from one.")
    value: Finite
    low: Finite
    high: Finite
    repetitions: int = Field(ge=1)
    weight: Share = Field(description="Its share of the session's value.")


class SessionValue(Document):
    """The session's value of a metric, or why there is none. The interval holds 95 %."""

    key: str
    title: str
    event: EventName | None
    unit: str
    value: Finite | None
    low: Finite | None
    high: Finite | None
    repetitions: int = Field(ge=0, description="How many serves measure it.")
    places: tuple[PlaceValue, ...] = ()
    agree: bool | None = Field(
        default=None,
        description="Whether the places agree within their uncertainty (5 % risk over all metrics "
        "of the session, Holm). Where they do not, the interval is widened until it spans what "
        "they say. Null where one place measures it.",
    )
    p_value: Share | None = Field(
        default=None, description="Holm-adjusted, that places which agree differ so much."
    )
    reason: Note | None = Field(default=None, description="Why it is not measurable.")


class SessionValues(Document):
    """A session's values."""

    schema_id: Literal["https://servewright.example/schemas/session-values.v1.json"] = Field(
        default=SCHEMA_ID, alias="schema"
    )
    kind: RepetitionKind
    places: tuple[FilmedPlace, ...]
    values: tuple[SessionValue, ...]
    notes: tuple[Note, ...] = ()
    engine_version: str
    cautions: tuple[Note, ...] = CAUTIONS
