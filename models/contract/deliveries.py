"""What was sent to a webhook endpoint, what it answered, and sending it again."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from models.contract.base import Document
from models.contract.coaching import Moment
from models.contract.refusals import Refusal, refused
from models.contract.resources import Links
from models.contract.webhook import EventType

EventId = Annotated[str, Field(pattern=r"^evt_[0-9a-f]{32}$")]
DeliveryState = Literal["pending", "sending", "delivered", "failed"]


class DeliveryResource(Document):
    """One event for one endpoint."""

    event_id: EventId = Field(description="The `webhook-id` of every try.")
    type: EventType
    subject: str | None = Field(
        default=None,
        description="Id of what it tells of. Events of one subject are sent one after the other.",
    )
    state: DeliveryState = Field(
        description="pending: waits for its turn or its next try; failed: given up."
    )
    created_at: datetime = Field(description="When what it tells of happened.")
    queued_at: datetime = Field(description="The same, or when it was asked to be sent again.")
    next_try_at: datetime | None = Field(
        default=None, description="At the earliest; an endpoint that does not answer is rested."
    )
    tries: int = Field(ge=0, description="Since it was queued.")
    last_tried_at: datetime | None = None
    last_status: int | None = None
    last_error: str | None = None
    links: Links = Field(default_factory=dict)


class SentRequest(Document):
    """A request as it was sent; signatures are taken out."""

    url: str
    headers: dict[str, str]


class ReceivedResponse(Document):
    """The beginning of an answer; of its header only what says how to read it."""

    status: int
    headers: dict[str, str]
    body: str = Field(
        description="At most 1,024 characters. Signing secrets, signatures and API keys are taken "
        "out."
    )


class DeliveryTry(Document):
    """One try."""

    number: int = Field(ge=1)
    tried_at: datetime
    took_s: float = Field(ge=0)
    request: SentRequest
    response: ReceivedResponse | None = None
    error: str | None = Field(default=None, description="Why there was no answer.")


class DeliveryWithTries(DeliveryResource):
    """One event for one endpoint, with its body and its latest tries, newest first."""

    body: dict[str, Any] = Field(description="The event as it is sent.")
    log: tuple[DeliveryTry, ...]


class DeliveryPage(Document):
    """One page of deliveries, newest event first."""

    items: tuple[DeliveryResource, ...]
    next_cursor: str | None = None
    resting_until: datetime | None = Field(
        default=None, description="The endpoint did not answer and is left alone until then."
    )


class EventReplay(Document):
    """Which events to send again: one, or those of a range of time."""

    event_id: EventId | None = None
    created_from: Moment | None = Field(default=None, description="Events of this moment or later.")
    created_before: Moment | None = Field(
        default=None, description="Events before this moment; left out = until now."
    )
    states: tuple[DeliveryState, ...] = Field(
        default=(), max_length=4, description='Only those in these states, such as ["failed"].'
    )

    @model_validator(mode="after")
    def _one_or_range(self) -> Self:
        if (self.event_id is None) == (self.created_from is None):
            raise refused(Refusal.EVENT_OR_RANGE)
        if self.event_id is not None and (self.created_before is not None or self.states):
            raise refused(Refusal.EVENT_ALONE)
        begin, end = self.created_from, self.created_before
        if begin is not None and end is not None and end <= begin:
            raise refused(Refusal.RANGE_REVERSED)
        return self


class EventsReplayed(Document):
    """How many events are on their way again."""

    events: int = Field(ge=0)


class SecretRotation(Document):
    """How a signing secret is replaced."""

    overlap_hours: int = Field(
        default=24,
        ge=0,
        le=720,
        description="Hours for which messages bear a signature of the former secret as well.",
    )
