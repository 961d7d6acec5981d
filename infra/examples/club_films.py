"""The films of the club's story, and what is true of the rendered player they show."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

from workers.engine.truth import read_truth

FILMS = Path(__file__).resolve().parents[2] / "tests" / "data" / "story"
BASELINE, PRACTISED, RETAINED = ("000", "001"), ("002", "003"), ("004", "005")
FOCUS = ("rear_foot_load_share@loading", "pelvis_turn@loading")
"""What the coach works on, named before anyone looks at the result."""
DRILL_FILMS = {"hold": "006", "shadow": "007", "throw": "008", "serve": "002"}


def _document(film: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(gzip.decompress((FILMS / f"{film}.json.gz").read_bytes()))
    return document


def height_m() -> float:
    """Return the player's standing height, as a club would have it in its books."""
    return round(float(_document(BASELINE[0])["body_height_m"]), 2)


def true_change(key: str, event: str | None) -> str:
    """Return by how much the rendered body truly changed, in words."""
    name = key if event is None else f"{key}@{event}"
    means = []
    for films in (BASELINE, PRACTISED):
        truths = [read_truth(_document(film), film) for film in films]
        values = [truth.repetitions[0].metrics.get(name) for truth in truths]
        if any(value is None for value in values):
            return "not known"
        means.append(sum(value for value in values if value is not None) / len(values))
    return f"{means[1] - means[0]:+.3g}"
