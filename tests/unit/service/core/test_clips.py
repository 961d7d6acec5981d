"""Clips in the database and the object store when other requests get in between."""

from __future__ import annotations

import pytest

from models.contract.errors import Conflict
from service.core import clips
from service.core.identifiers import new_id
from service.core.intake import Received
from service.core.object_keys import clip_key
from service.core.wiring import Wiring
from tests.films import TESTER


def test_a_film_whose_session_is_erased_meanwhile_is_not_kept(
    wiring: Wiring, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip_id = new_id("clip")
    wiring.objects.put_bytes(clip_key("main", clip_id), b"film", "video/mp4")
    monkeypatch.setattr(clips, "find_session", lambda *_: None)  # found, and erased right after
    film = Received("0" * 64, 4, "video/mp4")
    with pytest.raises(Conflict, match="erased"):
        wiring.clips.register(TESTER, clip_id, film, session_id=new_id("ses"))
    assert list(wiring.objects.list()) == []
