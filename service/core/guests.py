"""Those who come with a link instead of a key: recognised, counted, and let no further than it."""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from models.contract.errors import LinkEnded, NotFound
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.key_text import digest_of
from service.core.link_text import read_link_text
from service.core.principal import Principal
from service.core.rates import RateLimiter
from service.core.reach import EVERYTHING
from service.core.tables import IntakeLink, ShareLink

NETWORK_BITS = 64
"""Bits of an IPv6 address that one subscriber holds: counted as one (RFC 6177 and RIPE-690 give
each site at least as much; from memory)."""


@dataclass(frozen=True, slots=True)
class Guest:
    """Whoever holds a link.

    Attributes
    ----------
    principal : Principal
        With the id of the link for a key, and no scopes.
    now : datetime
        When the link was looked at, by the clock of the database.
    """

    link: IntakeLink | ShareLink
    principal: Principal
    now: datetime

    @property
    def expired(self) -> bool:
        """Whether nothing new may come through the link."""
        return self.link.expires_at <= self.now

    def require_open(self) -> None:
        """Raise ``LinkEnded`` when the link has expired."""
        if self.expired:
            raise LinkEnded(say(NoteCode.LINK_EXPIRED, date=f"{self.link.expires_at:%Y-%m-%d}"))


class Guests:
    """Recognises links.

    Parameters
    ----------
    requests_per_minute : int
        From one address and through one link; 0 = no limit.
    """

    def __init__(self, database: Database, rates: RateLimiter, requests_per_minute: int) -> None:
        self._database = database
        self._rates = rates
        self._limit = requests_per_minute

    def admit(self, kind: str, text: str, address: str, installation: Callable[[], bytes]) -> Guest:
        """Return who comes with the secret part of an address.

        An intake link that has expired still lets uploads go on that began before.

        Raises
        ------
        NotFound, LinkEnded, RateLimited
        """
        self._count(f"address {network_of(address)}")
        named = read_link_text(installation(), kind, text)
        if named is None:
            raise NotFound()
        link_id, secret = named
        self._count(link_id)
        with self._database.read(EVERYTHING) as session:
            table: type[IntakeLink] | type[ShareLink] = IntakeLink if kind == "i" else ShareLink
            row: IntakeLink | ShareLink | None = session.get(table, link_id)  # type: ignore[assignment]
            now = self._database.now(session)
        if row is None or not hmac.compare_digest(row.digest, digest_of(secret)):
            raise NotFound()
        if row.revoked_at is not None:
            raise LinkEnded(say(NoteCode.LINK_REVOKED))
        player_id, session_id = None, None
        if isinstance(row, IntakeLink):
            player_id, session_id = row.player_id, row.session_id
        principal = Principal(row.id, row.tenant_id, frozenset(), player_id, session_id)
        guest = Guest(row, principal, now)
        if isinstance(row, ShareLink):
            guest.require_open()
        return guest

    def _count(self, whom: str) -> None:
        self._rates.check(whom, self._limit, NoteCode.LINK_REQUESTS)


def network_of(address: str) -> str:
    """Return what is counted as one caller: an IPv4 address, or an IPv6 network."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, NETWORK_BITS), strict=False))
    return str(found)
