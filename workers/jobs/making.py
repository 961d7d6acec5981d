"""What makes one kind of queued work, as a job sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from models.contract.clip import ClipFacts
from models.contract.vocabulary import Language
from service.core.claims import Claim
from service.core.wiring import Wiring
from workers.jobs.lease import Lease
from workers.pipeline.result_files import ResultFile
from workers.pipeline.time_left import TimeLeft


@dataclass(frozen=True, slots=True)
class Made:
    """What an attempt has made, to be stored and committed.

    Attributes
    ----------
    headline : mapping
        The few values that an event body carries.
    facts : ClipFacts or None
        What was learnt about the clip.
    time_left : TimeLeft or None
        What the steps of the analysis of a film have cost so far; storing is its last step.
    """

    files: tuple[ResultFile, ...]
    headline: Mapping[str, Any]
    facts: ClipFacts | None = None
    time_left: TimeLeft | None = None


class Maker(Protocol):
    """Makes the results of one kind of work."""

    def __call__(self, wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
        """Make them. Report progress to ``lease``; temporary files go to ``folder``."""


def language_of(claim: Claim) -> Language:
    """Return the language that a document was asked for in."""
    return Language(claim.request.get("language", Language.ENGLISH.value))
