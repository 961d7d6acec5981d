"""The shipped model serve: measured by this engine, near its true values, held against a player."""

from __future__ import annotations

import pytest

from models.contract.comparison import Comparison
from models.contract.vocabulary import Handedness, RepetitionKind, Role
from tests.unit.report.conftest import load
from workers.derive.comparison import comparison_files, sides
from workers.derive.model_serve import FOLDER, NAME, model_serve
from workers.derive.source import Source
from workers.video.limits import DecodeLimits

TRUE = {
    "rear_foot_load_share": 0.65,
    "front_knee_flexion": 68.5,
    "rear_knee_flexion": 65.3,
}
"""At the loaded instant, of the drawn body: `models/examples/serve/README.md`."""
PELVIS_TURN_DEG = 22.0
"""From set-up, by the truth of the film it was copied from."""


def test_it_is_one_serve_and_its_intervals_hold_what_is_true() -> None:
    model = model_serve(0)
    (serve,) = model.analysis.repetitions
    assert serve.kind is RepetitionKind.SERVE
    assert model.analysis.handedness is Handedness.RIGHT
    found = {m.key: m for m in serve.metrics if m.event is not None and m.event.value == "loading"}
    for key, true in TRUE.items():
        assert found[key].measurable, key
        assert found[key].low <= true <= found[key].high, key
    turn = found["pelvis_turn"]  # from the side it is told as long as films say that it can be
    if turn.measurable:
        assert turn.low <= PELVIS_TURN_DEG <= turn.high
    else:
        assert turn.reason is not None
    assert serve.coil is not None
    assert serve.coil.verdict.value == "turned_away"


def test_it_is_small() -> None:
    assert sum(file.stat().st_size for file in FOLDER.iterdir()) < 300_000


def test_a_left_handed_player_beside_it_is_mirrored_and_the_page_says_model() -> None:
    case = load("left_front_quarter")
    player = Source("film", case.analysis, lambda: (case.track, (case.body,)), lambda: None, dict)
    marked = [("first", player), ("second", model_serve(0))]
    first, second = sides("Lea", "model", marked, ("second",))
    assert (first.role, second.role) == (Role.PLAYER, Role.MODEL)
    found, files = comparison_files(first, second, DecodeLimits(), film=False)
    assert found.mirrored
    assert found.second.role is Role.MODEL
    assert found.second.analyses == (NAME,)
    assert Comparison.model_validate_json(files[0].data) == found
    page = next(f.data for f in files if f.name == "report.html").decode()
    assert "Beside a model" in page
    assert "than before" not in page


@pytest.mark.parametrize("models", [(), ("first", "second")])
def test_two_players_and_two_models_are_told_as_changes(models: tuple[str, ...]) -> None:
    one, two = sides("a", "b", [("first", model_serve(0)), ("second", model_serve(0))], models)
    _, files = comparison_files(one, two, DecodeLimits(), film=False)
    assert "Beside a model" not in next(f.data for f in files if f.name == "report.html").decode()
