"""The engine's identity changes with what could change a number, and with nothing else."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from models import registry
from workers.learned import load
from workers.learned.identity import code_digest, code_of, engine_identity

SOURCE = '''"""A module."""

import numpy as np

SD = 0.5
"""Degrees."""


def turned(angle: float, *, by: float = SD) -> float:
    """Return the angle turned."""
    # radians
    return np.radians(angle) + by
'''


def test_comments_docstrings_and_layout_do_not_count() -> None:
    bare = re.sub(r'"""[^"]*"""|# radians', "", SOURCE).replace(
        "(angle: float, ", "(angle: float,\n    "
    )
    assert bare != SOURCE
    assert code_of(bare) == code_of(SOURCE)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("0.5", "0.50001"),
        (" + by", " - by"),
        ("by: float = SD", "by: float = 1.0"),
        ("radians", "sin"),
    ],
)
def test_any_change_of_code_counts(old: str, new: str) -> None:
    changed = (
        SOURCE.replace("np." + old, "np." + new) if old == "radians" else SOURCE.replace(old, new)
    )
    assert changed != SOURCE
    assert code_of(changed) != code_of(SOURCE)


def test_words_of_a_metric_do_not_count_and_its_limits_do() -> None:
    metric = "Metric('tilt', tolerance=4.0, wording={'en': 'Tilt'})"
    assert code_of(metric) == code_of(metric.replace("Tilt", "Slope"))
    assert code_of(metric) != code_of(metric.replace("4.0", "5.0"))


def test_a_string_that_is_used_counts() -> None:
    assert code_of("x = 'a'") != code_of("x = 'b'")


def test_each_learned_file_counts() -> None:
    files = {record.name: record.sha256 for record in registry.learned()}
    first = engine_identity("code", files)
    assert engine_identity("code", dict(reversed(files.items()))) == first
    for name in files:
        assert engine_identity("code", files | {name: "0" * 64}) != first
    assert engine_identity("other code", files) != first


def test_the_engine_and_the_definitions_of_the_metrics_are_covered() -> None:
    both = code_digest()
    assert both != code_digest(("workers.engine",))
    assert both != code_digest(("models.contract.metrics",))
    assert re.fullmatch("[0-9a-f]{64}", both)


def test_the_loaded_engine_states_what_it_uses() -> None:
    engine = load()
    assert {m.name: m.sha256 for m in engine.models} == {
        record.name: record.sha256 for record in registry.learned()
    }
    assert engine.identity == engine_identity(
        code_digest(), {m.name: m.sha256 for m in engine.models}
    )
    with pytest.raises(AttributeError):
        engine.learned.lift = None  # type: ignore[misc]
    assert replace(engine, identity="x").identity == "x"
