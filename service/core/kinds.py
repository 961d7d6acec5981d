"""The kinds of queued work, each declared once: how it is named, addressed, stored and announced.

What a kind is asked for with is in :mod:`service.core.requests`; its routes are in ``service.api``,
what makes it is in ``workers.jobs``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.contract.operations import Lane
from models.contract.vocabulary import WorkKind
from models.contract.webhook import EventType
from service.core.identifiers import is_id
from service.core.object_keys import tenant_root

__all__ = ["KINDS", "KindOfWork", "Lane", "kind_of"]


@dataclass(frozen=True, slots=True)
class KindOfWork:
    """One kind.

    Attributes
    ----------
    prefix : str
        Of its identifiers: ``ana``.
    collection : str
        Path of its list in the API, with ``{player_id}`` where it belongs to a player.
    folder : str
        Prefix of its objects in the object store.
    noun : str
        What messages call it.
    lane : Lane
        Whose workers take it.
    """

    kind: WorkKind
    prefix: str
    collection: str
    folder: str
    noun: str
    lane: Lane

    @property
    def of_player(self) -> bool:
        """Whether the address begins with the player."""
        return "{player_id}" in self.collection

    def list_path(self, player_id: str | None) -> str:
        """Return the path of the list that a piece of work is in."""
        return self.collection.format(player_id=player_id)

    def address(self, work_id: str, player_id: str | None) -> str:
        """Return the path of a piece of work in the API."""
        return f"{self.list_path(player_id)}/{work_id}"

    def root(self, tenant_id: str, work_id: str) -> str:
        """Return the object prefix below which all attempts at a piece of work write."""
        return f"{tenant_root(tenant_id)}{self.folder}/{work_id}"

    def result_prefix(self, tenant_id: str, work_id: str, attempt: int) -> str:
        """Return the object prefix below which one attempt writes."""
        return f"{self.root(tenant_id, work_id)}/{attempt}"

    def event(self, ended: Literal["completed", "failed"]) -> EventType:
        """Return the type of the event that tells of its end."""
        return f"{self.kind.value}.{ended}"  # type: ignore[return-value]


KINDS: dict[WorkKind, KindOfWork] = {
    one.kind: one
    for one in (
        KindOfWork(WorkKind.ANALYSIS, "ana", "/v1/analyses", "analyses", "analysis", Lane.LONG),
        KindOfWork(
            WorkKind.COMPARISON, "cmp", "/v1/comparisons", "documents", "document", Lane.LONG
        ),
        KindOfWork(
            WorkKind.PROGRESS,
            "prg",
            "/v1/players/{player_id}/progress",
            "documents",
            "document",
            Lane.SHORT,
        ),
        KindOfWork(
            WorkKind.PLAN,
            "pln",
            "/v1/players/{player_id}/plans",
            "documents",
            "document",
            Lane.SHORT,
        ),
        KindOfWork(
            WorkKind.DRILL_CHECK, "drl", "/v1/drill-checks", "documents", "document", Lane.SHORT
        ),
    )
}


def kind_of(work_id: str) -> WorkKind:
    """Return the kind that an identifier names. Raises ``ValueError`` for any other text."""
    for one in KINDS.values():
        if is_id(work_id, one.prefix):
            return one.kind
    raise ValueError("not an identifier of queued work")
