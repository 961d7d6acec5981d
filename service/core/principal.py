"""Who asks: a key's organisation, scopes and bounds."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from service.core.reach import Reach
from service.core.table_base import MAIN_TENANT


class Scope(StrEnum):
    """What a key may do."""

    CLIPS_READ = "clips:read"
    CLIPS_WRITE = "clips:write"
    ANALYSES_WRITE = "analyses:write"
    RESULTS_READ = "results:read"
    WEBHOOKS_MANAGE = "webhooks:manage"
    CLIPS_ERASE = "clips:erase"
    PLAYERS_READ = "players:read"
    PLAYERS_WRITE = "players:write"
    RULES_MANAGE = "rules:manage"
    INTAKE_MANAGE = "intake:manage"
    SHARES_MANAGE = "shares:manage"
    ADMIN = "admin"


ORGANISATION_WIDE = frozenset(
    {
        Scope.WEBHOOKS_MANAGE,
        Scope.RULES_MANAGE,
        Scope.INTAKE_MANAGE,
        Scope.SHARES_MANAGE,
        Scope.ADMIN,
    }
)
"""Scopes that a key bound to a player or session cannot hold: they reach beyond both."""


@dataclass(frozen=True, slots=True)
class Principal:
    """Who asks.

    Attributes
    ----------
    player_id, session_id : str or None
        The one player, or one session of that player, that the key is bound to.
    seed : bytes
        Follows from the secret of the key, which is not kept; see
        :func:`service.core.key_text.repeatable_secret`.
    requests_per_minute : int or None
        The organisation's own limit; None = that of the installation, 0 = none.
    """

    key_id: str
    tenant_id: str
    scopes: frozenset[str]
    player_id: str | None = None
    session_id: str | None = None
    seed: bytes = field(default=b"", repr=False)
    requests_per_minute: int | None = None

    def may(self, scope: Scope) -> bool:
        """Tell whether the key holds the scope; ``admin`` holds all."""
        return scope in self.scopes or Scope.ADMIN in self.scopes

    @property
    def runs_the_installation(self) -> bool:
        """Whether it may make and change organisations: an ``admin`` key of the first one."""
        return self.tenant_id == MAIN_TENANT and Scope.ADMIN in self.scopes

    @property
    def reach(self) -> Reach:
        """Which rows it may see and write."""
        return Reach(self.tenant_id, self.player_id, self.session_id)
