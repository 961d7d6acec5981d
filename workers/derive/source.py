"""A finished analysis as material: its document at once, joints, pictures and film when asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from models.contract.analysis import MINOR_CAUTIONS, Analysis, Repetition
from models.contract.annotations import Annotations
from models.contract.faces import Faces
from models.contract.note import Note
from models.contract.progress import SessionKind
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import RepetitionKind

JointsOf = Callable[[], tuple[JointTrack, Sequence[BodyMotion | None]]]


def _one_film() -> None:
    return None


@dataclass(frozen=True, slots=True)
class Source:
    """One analysis.

    Attributes
    ----------
    name : str
        Analysis id, or file name on the command line.
    joints : callable
        Returns the track and the fitted bodies, one a repetition.
    film : callable
        Returns the path of the film, or None when it is not at hand.
    pictures : callable
        Returns the event pictures by file name.
    hidden_pictures : callable
        Returns those with hidden faces that stand beside them; empty where there are none.
    second_joints : callable
        Returns the track of the second film of the serve; None where there is one film.
    own : Annotations or None
        The coach's own lines on its pictures.
    """

    name: str
    analysis: Analysis
    joints: JointsOf
    film: Callable[[], Path | None]
    pictures: Callable[[], Mapping[str, bytes]]
    hidden_pictures: Callable[[], Mapping[str, bytes]] = dict
    second_joints: Callable[[], JointTrack | None] = _one_film
    own: Annotations | None = None

    @property
    def faces_hidden(self) -> bool:
        """Whether its pictures hide faces; then so does whatever is drawn from its film."""
        return self.analysis.faces is Faces.HIDDEN


@dataclass(frozen=True, slots=True)
class SessionSources:
    """The sources of one occasion."""

    name: str
    kind: SessionKind
    at: datetime
    sources: tuple[Source, ...]
    drill: str | None = None


def best_repetition(
    sources: Sequence[Source], kind: RepetitionKind
) -> tuple[Source, int, Repetition] | None:
    """Return the repetition found with most confidence, its source and index; None without one."""
    found = [
        (source, number, repetition)
        for source in sources
        for number, repetition in enumerate(source.analysis.repetitions)
        if repetition.kind is kind
    ]
    return max(found, key=lambda one: one[2].confidence) if found else None


def with_minor_cautions(cautions: tuple[Note, ...], minor: bool) -> tuple[Note, ...]:
    """Return the cautions, with those for a player who may be under 18 added once."""
    if not minor:
        return cautions
    return tuple(dict.fromkeys((*cautions, *MINOR_CAUTIONS)))
