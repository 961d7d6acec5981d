"""Limits of an organisation: what it may send and have worked on. Zero = no limit.

The settings hold those of every organisation; an organisation's own row may override each.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

from service.core.settings import Settings
from service.core.tables import Organisation


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one organisation; 0 = none.

    Attributes
    ----------
    requests_per_minute : int
        Requests to the API.
    films_per_month : int
        Films received in a calendar month (UTC).
    stored_bytes : int
        Bytes of all films that are kept.
    waiting_work : int
        Analyses and documents that are queued or running.
    processor_s_per_month : int
        Processor time of workers in a calendar month (UTC), seconds.
    """

    requests_per_minute: int = 0
    films_per_month: int = 0
    stored_bytes: int = 0
    waiting_work: int = 0
    processor_s_per_month: int = 0

    @classmethod
    def of_settings(cls, settings: Settings) -> Limits:
        """Return the limits of an organisation that has none of its own."""
        return cls(
            settings.limit_requests_per_minute,
            settings.limit_films_per_month,
            settings.limit_stored_bytes,
            settings.limit_waiting_work,
            settings.limit_processor_s_per_month,
        )

    def overridden(self, own: dict[str, Any]) -> Limits:
        """Return these limits with an organisation's own put over them."""
        known = {field.name for field in fields(self)}
        return replace(self, **{name: own[name] for name in known & set(own)})

    def of(self, organisation: Organisation) -> Limits:
        """Return the limits in force for an organisation."""
        return self.overridden(organisation.limits)
