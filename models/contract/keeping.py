"""How long films, joints and reports are kept: the rule of an organisation, and what it means for
one film or piece of work.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated

from pydantic import BeforeValidator, Field

from models.contract.base import Document, refuse_bool

Days = Annotated[int, Field(ge=0, le=36500), BeforeValidator(refuse_bool)] | None
"""0 = until erased; null = as the settings of the installation say."""
KeptId = Annotated[str, Field(pattern=r"^(clip|ana|cmp|prg|pln|drl)_[0-9a-f]{32}$")]


class KeptBy(StrEnum):
    """Whose rule says how long a film is kept."""

    ORGANISATION = "organisation"
    MINOR = "minor"
    CONSENT = "consent"


class KeepingRule(Document):
    """Days for which things are kept. 0 = until erased; null = as the installation's settings say.

    What was measured (`result`, `events`, `metrics`) stays until it, its film or its player is
    erased.
    """

    films_days: Days = Field(default=None, description="Films, from their arrival.")
    minors_films_days: Days = Field(
        default=None,
        description="Films of players who may be under 18, of unknown age, or in no session. A "
        "consent that says longer goes before; `films_days` is never exceeded.",
    )
    joints_days: Days = Field(
        default=None, description="Joints of each frame, and files of joints that were sent."
    )
    reports_days: Days = Field(default=None, description="Reports, pictures and their films.")

    def own(self) -> dict[str, int]:
        """Return those that are given."""
        return self.model_dump(exclude_none=True)


class KeptResource(Document):
    """Until when something is kept, and what has gone already."""

    of: KeptId
    film_until: datetime | None = Field(default=None, description="Null = until erased.")
    film_because: KeptBy | None = Field(default=None, description="Which rule says so.")
    film_removed_at: datetime | None = None
    joints_until: datetime | None = Field(default=None, description="Null = until erased.")
    joints_removed_at: datetime | None = None
    reports_until: datetime | None = Field(default=None, description="Null = until erased.")
    reports_removed_at: datetime | None = None
