"""Tells the integrating app when the next retention check of a player is due."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from models.contract.progress import NextCheck, SessionKind
from models.contract.retention import SCHEDULE, next_check
from models.contract.webhook import WebhookData
from service.core.database import Database
from service.core.outbox import emit
from service.core.tables import FilmedSession, OutboxEvent, Player

LONGEST = max(latest for _, latest, _ in SCHEDULE)


def event_id(player_id: str, check: NextCheck) -> str:
    """Return the id of the one event for one player and window, the same whoever writes it."""
    mark = f"retention.due {player_id} {check.not_before.isoformat()}"
    return f"evt_{hashlib.sha256(mark.encode()).hexdigest()[:32]}"


class RetentionReminder:
    """Writes one ``retention.due`` event a player and window, while the window is open."""

    def __init__(self, database: Database, public_url: str = "") -> None:
        self._database = database
        self._public_url = public_url.rstrip("/")

    def run_once(self) -> int:
        """Write what is due; return the number of events."""
        with self._database.read() as session:
            now = self._database.now(session)
            practised = select(FilmedSession.player_id).where(
                FilmedSession.kind == SessionKind.ACQUISITION,
                FilmedSession.filmed_at >= now - LONGEST,
            )
            rows = session.execute(
                select(FilmedSession.player_id, FilmedSession.kind, FilmedSession.filmed_at).where(
                    FilmedSession.player_id.in_(practised),
                    FilmedSession.kind.in_((SessionKind.ACQUISITION, SessionKind.RETENTION)),
                )
            ).all()
        moments: dict[str, dict[str, list[datetime]]] = defaultdict(lambda: defaultdict(list))
        for player_id, kind, filmed_at in rows:
            moments[player_id][kind].append(filmed_at)
        written = 0
        for player_id, of_kind in moments.items():
            check = next_check(
                of_kind[SessionKind.ACQUISITION], of_kind[SessionKind.RETENTION], now
            )
            if check is not None and check.not_before <= now <= check.not_after:
                written += self._announce(player_id, check)
        return written

    def _announce(self, player_id: str, check: NextCheck) -> int:
        identifier = event_id(player_id, check)
        with self._database.read() as session:  # cheap look first: no write lock while idle
            if session.get(OutboxEvent, identifier) is not None:
                return 0
        try:
            with self._database.write() as session:
                player = session.get(Player, player_id)
                if player is None:
                    return 0
                address = f"{self._public_url}/v1/players/{player_id}"
                emit(
                    session,
                    self._database.now(session),
                    tenant_id=player.tenant_id,
                    type="retention.due",
                    source=f"{self._public_url}/v1/players",
                    subject=player_id,
                    event_id=identifier,
                    player_id=player_id,
                    data=WebhookData(
                        resource="player",
                        id=player_id,
                        player_id=player_id,
                        external_ref=player.external_id,
                        links={"self": address, "sessions": f"{address}/sessions"},
                        headline={
                            "not_before": check.not_before.isoformat(),
                            "not_after": check.not_after.isoformat(),
                            "reason": check.reason.text,
                            "reason_code": check.reason.code,
                            "parameters": check.reason.model_dump(mode="json")["parameters"],
                        },
                    ),
                )
        except IntegrityError:  # another process wrote the same event at the same moment
            return 0
        return 1
