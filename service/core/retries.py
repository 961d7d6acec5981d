"""What follows a try to deliver an event, decided purely."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

RETRY_AFTER_S: tuple[float, ...] = (5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400)
"""Waits after the first, second, … failed try: the example schedule of Standard Webhooks 1.0."""
GIVE_UP_AFTER = timedelta(seconds=sum(RETRY_AFTER_S))
"""An event that waits behind others of a receiver that is away is given up after as long."""
FIRST_REST_S = 5.0
"""Seconds an endpoint rests after its first failure (working value)."""
LONGEST_REST_S = 300.0
"""Rest of an endpoint that does not answer: 5 s, doubled with each further try, at most 5 min
(working values: a restart of a receiver is over within a minute, and one try in 5 min is cheap)."""
LONGEST_ASKED_S = 3600.0
"""Longest Retry-After that is followed, seconds (working value)."""
GONE = 410
"""HTTP status: the receiver wants no more (RFC 9110, 15.5.11)."""
AWAY = frozenset({429, 502, 503, 504})
"""Answers that say the receiver as a whole is busy or away (RFC 9110 15.6, RFC 6585 4)."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one try came to. ``error``: why there was no answer."""

    status: int | None
    error: str | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    took_s: float = 0.0

    @property
    def delivered(self) -> bool:
        """Whether the receiver accepted it: 2xx, and nothing else."""
        return self.status is not None and 200 <= self.status < 300

    @property
    def away(self) -> bool:
        """Whether it says more about the receiver than about this event."""
        return self.status is None or self.status in AWAY


@dataclass(frozen=True, slots=True)
class Next:
    """What follows a try. ``due_at`` is set while there is another try to come."""

    state: str
    due_at: datetime | None = None
    disable_endpoint: bool = False


def after_try(outcome: Outcome, tries: int, now: datetime) -> Next:
    """Decide what follows the ``tries``-th try (counted from 1)."""
    if outcome.delivered:
        return Next("delivered")
    if outcome.status == GONE:  # Standard Webhooks: gone = stop sending here
        return Next("failed", disable_endpoint=True)
    if tries > len(RETRY_AFTER_S):
        return Next("failed")
    return Next("pending", now + timedelta(seconds=RETRY_AFTER_S[tries - 1]))


def rest_after(outcome: Outcome, failures: int) -> timedelta | None:
    """Return how long the endpoint is left alone; None = not at all.

    Parameters
    ----------
    failures : int
        Tries in a row, this one included, that found the receiver away.
    """
    if not outcome.away:
        return None
    doubled = FIRST_REST_S * 2.0 ** min(failures - 1, 16)
    asked = outcome.headers.get("retry-after", "").strip()
    wanted = float(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 10 else 0.0
    return timedelta(seconds=max(min(doubled, LONGEST_REST_S), min(wanted, LONGEST_ASKED_S)))
