"""Films of other work: what is counted, and what the search finds in them."""

from __future__ import annotations

import pytest

from models.training import others
from models.training.rendered.bodies import simulated_track
from workers.engine.signals import from_track


def test_a_serve_among_other_work_is_counted_as_wrong(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    films = {"walk": "009", "serve_called_walk": "000"}

    def shown(packs: object) -> list[tuple[str, object]]:
        return [(kind, from_track(simulated_track(clip))) for kind, clip in films.items()]

    monkeypatch.setattr(others, "filmed", shown)
    assert others.main([]) == 1
    assert "2 of 2 kinds: 1 taken for a serve or a throw" in capsys.readouterr().out
    del films["serve_called_walk"]
    assert others.main([]) == 0


def test_nobody_is_nothing() -> None:
    assert others.taken_for(None) == ()
