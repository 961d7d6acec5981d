"""Filing a film under another session or player, and what is said about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from service.core.database import Database
from service.core.material import find_clip
from service.core.players import find_session
from service.core.principal import Principal
from service.core.tables import Clip


class Filing:
    """Changes what a clip is filed under; its film and its analyses stay as they are."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def change(
        self,
        principal: Principal,
        clip_id: str,
        values: Mapping[str, Any],
        unless_changed: Callable[[Clip], None],
    ) -> Clip:
        """Change ``session_id`` (None = under none) or ``external_ref`` of a clip.

        Raises
        ------
        NotFound
            There is no such clip, or no such session.
        InvalidRequest
            A key of one player would file it under none.
        """
        with self._database.write() as session:
            wanted = values.get("session_id")
            if wanted is not None:  # locked before the clip, as in erasing
                find_session(session, principal, wanted, lock=True)
            elif "session_id" in values and principal.player_id is not None:
                raise InvalidRequest(say(NoteCode.KEY_NEEDS_SESSION), pointer="/session_id")
            row = find_clip(session, principal, clip_id, lock=True)
            unless_changed(row)
            for name, value in values.items():
                setattr(row, name, value)
            session.flush()
            return row
