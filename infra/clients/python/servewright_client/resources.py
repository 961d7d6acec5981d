"""The resources a caller steers by. Members that are not named here stand in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self

from servewright_client.errors import Problem

ENDED = frozenset({"completed", "failed", "cancelled"})


def _moment(value: str | None) -> datetime | None:
    return None if value is None else datetime.fromisoformat(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """What all have in common.

    Attributes
    ----------
    raw : mapping
        The whole document.
    etag : str or None
        State that was read; a change is sent with it.
    """

    id: str
    links: Mapping[str, str] = field(default_factory=dict)
    etag: str | None = field(default=None, compare=False)
    raw: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, document: Mapping[str, Any], etag: str | None = None) -> Self:
        """Return the resource in a JSON document."""
        return cls(**cls._members(document), etag=etag, raw=document)

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {"id": document["id"], "links": dict(document.get("links") or {})}


@dataclass(frozen=True, slots=True, kw_only=True)
class Player(Resource):
    """A player. ``may_be_minor`` is true when the year of birth is not known."""

    external_id: str
    handedness: str
    height_m: float | None
    may_be_minor: bool

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "external_id": document["external_id"],
            "handedness": document["handedness"],
            "height_m": document["height_m"],
            "may_be_minor": document["may_be_minor"],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Session(Resource):
    """An occasion on which a player was filmed."""

    player_id: str
    kind: str
    filmed_at: datetime | None

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "player_id": document["player_id"],
            "kind": document["kind"],
            "filmed_at": _moment(document["filmed_at"]),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip(Resource):
    """A film."""

    state: str
    size_bytes: int | None
    sha256: str | None
    session_id: str | None

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "state": document["state"],
            "size_bytes": document["size_bytes"],
            "sha256": document["sha256"],
            "session_id": document.get("session_id"),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Work(Resource):
    """Queued work: an analysis, comparison, progress, plan or drill check.

    Attributes
    ----------
    status : str
        queued, running, completed, failed or cancelled.
    progress : float
        0 to 1.
    time_left_s : float or None
        The service's estimate, seconds.
    headline : mapping
        A few values for a list.
    """

    status: str
    progress: float
    time_left_s: float | None
    headline: Mapping[str, Any]
    problem: Problem | None

    @property
    def ended(self) -> bool:
        """Whether it will change no more."""
        return self.status in ENDED

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        problem = document.get("problem")
        return {
            **Resource._members(document),
            "status": document["status"],
            "progress": document["progress"],
            "time_left_s": document.get("time_left_s"),
            "headline": dict(document.get("headline") or {}),
            "problem": None if problem is None else Problem.of(problem),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload(Resource):
    """A film on its way, by the tus protocol.

    Attributes
    ----------
    state : str
        receiving, finished or refused.
    received, length : int
        Bytes that arrived, and bytes in all.
    clip_id, analysis_id : str or None
        What it became.
    """

    state: str
    received: int
    length: int
    clip_id: str | None
    analysis_id: str | None
    problem: Problem | None

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        problem = document.get("problem")
        return {
            **Resource._members(document),
            "state": document["state"],
            "received": document["received"],
            "length": document["length"],
            "clip_id": document.get("clip_id"),
            "analysis_id": document.get("analysis_id"),
            "problem": None if problem is None else Problem.of(problem),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint(Resource):
    """An address that events are sent to. ``secret`` is told once, when it is made or replaced."""

    url: str
    event_types: tuple[str, ...]
    secret: str | None

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "url": document["url"],
            "event_types": tuple(document["event_types"]),
            "secret": document.get("secret"),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Erasure(Resource):
    """An erasure: nothing of it can be read any more; ``completed`` when the files are gone, too.

    Attributes
    ----------
    state : str
        under_way or completed.
    erased_id : str
        Id of what was erased.
    """

    state: str
    erased_id: str

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "state": document["state"],
            "erased_id": document["of"],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class GuestLink(Resource):
    """An address for people without a key: films come in, or a result is read.

    ``url`` is told once, when it is made: whoever has it may do what the link allows.
    """

    state: str
    url: str | None
    expires_at: datetime | None

    @classmethod
    def _members(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        return {
            **Resource._members(document),
            "state": document["state"],
            "url": document.get("url"),
            "expires_at": _moment(document["expires_at"]),
        }
