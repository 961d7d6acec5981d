"""What a coach adds to a page: words, a voice, the look of the club."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from workers.report.branded import Brand


@dataclass(frozen=True, slots=True)
class SpokenMessage:
    """A spoken message, which the page plays."""

    media_type: str
    data: bytes

    @property
    def source(self) -> str:
        """The file as an address that holds it."""
        return f"data:{self.media_type};base64,{base64.b64encode(self.data).decode('ascii')}"


@dataclass(frozen=True, slots=True)
class FromCoach:
    """What a coach adds; each may be missing."""

    message: str | None = None
    voice: SpokenMessage | None = None
    brand: Brand | None = None


NOTHING = FromCoach()
