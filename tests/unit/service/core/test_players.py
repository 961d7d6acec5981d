"""Players when two requests enter the same one at the same moment."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from models.contract.errors import Conflict
from service.core.tables import Player
from service.core.wiring import Wiring
from tests.films import TESTER

VALUES = {"external_id": "member-4711", "handedness": "left", "sex": "unknown"}


def test_the_second_of_two_is_told(wiring: Wiring) -> None:
    now = datetime(2026, 5, 4, tzinfo=UTC)
    other = Player(id="ply_other", tenant_id="main", created_at=now, updated_at=now, **VALUES)

    def enter_both() -> None:
        with wiring.database.write() as session, session.no_autoflush:
            session.add(other)  # not yet in the table when the second one looks
            wiring.players.create(session, TESTER, VALUES)

    with pytest.raises(Conflict, match="external_id"):
        enter_both()
