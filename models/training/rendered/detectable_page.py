"""Page: how large a change must be, from each camera position, so that a comparison sees it.

``python -m models.training repeat FILMS --page infra/accuracy/changes.md``
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

import numpy as np

from models.contract.comparison import MetricDifference
from models.contract.vocabulary import View
from models.words import english

SHOWN = (
    *("rear_foot_load_share@loading", "rear_hip_setback@loading", "rear_hip_drop@loading"),
    *("front_hip_advance@loading", "front_knee_flexion@loading", "front_knee_flexion@trophy"),
    *("rear_knee_flexion@loading", "rear_knee_flexion@trophy", "knee_turn@loading"),
    *("pelvis_turn@loading", "shoulder_turn@loading", "hip_shoulder_separation@loading"),
    *("hip_shoulder_separation@trophy", "shoulder_line_tilt@trophy", "shoulder_line_tilt@contact"),
    *("shoulder_over_shoulder", "trunk_backward_tilt@trophy", "trunk_backward_tilt@contact"),
    *("elbow_flexion@trophy", "elbow_flexion@racket_low", "elbow_flexion@contact"),
    *("contact_height_ratio@contact", "tempo", "tempo_release_trophy", "tempo_trophy_contact"),
)
"""What a coach works on, from the feet up."""
VIEWS = (View.SIDE, View.REAR_QUARTER, View.BEHIND)
MIN_PLAYERS = 3

Cells = dict[str, dict[str, list[MetricDifference]]]
"""Rows of comparisons by metric and view, each made with that metric named as worked on."""

HEAD = """# What a comparison can show

How large a true change must be so that nine of ten comparisons call it changed: one player, two
sessions of {serves} serves filmed from one place on two days in other clothes, and the metric named
beforehand as what was worked on (`focus`). Median over {players} rendered players; the figure of
your own comparison stands in it as `detectable`. Smaller changes may go unseen, so "within noise"
does not mean that nothing happened.

"""
FOOT = """
– = not reported from there, or by fewer than {least} players. Other positions were not filmed for
this. Minimum detectable value after ISO 11843-1, with the correction for all metrics compared.
With one serve a side changes must be larger; what the serves of one day have in common (camera,
clothes, light) does not shrink with their count.

Made by `python -m models.training.rendered.two_sessions FILMS --page {page}`.
"""
Compare = Callable[[int, str], tuple[View, Sequence[MetricDifference]]]
"""Compares the sessions of one player with one metric as focus: camera position and rows."""


def gather(rows: Compare, count: int) -> Cells:
    """Return the rows of the metrics shown, of so many players."""
    cells: Cells = defaultdict(lambda: defaultdict(list))
    for player in range(count):
        for name in SHOWN:
            view, found = rows(player, name)
            cells[name][view.value] += [row for row in found if row.focus]
    return cells


def page(cells: Cells, players: int, serves: int, path: str) -> str:
    """Return the page in Markdown."""
    words = english()
    lines = [
        "| metric | " + " | ".join(f"`{view.value}`" for view in VIEWS) + " |",
        "| --- |" + " ---: |" * len(VIEWS),
    ]
    for name in SHOWN:
        any_row = next((row for rows in cells[name].values() for row in rows), None)
        if any_row is None:
            continue
        shown = []
        for view in VIEWS:
            least = [
                row.detectable for row in cells[name][view.value] if row.detectable is not None
            ]
            median = float(np.median(least)) if len(least) >= MIN_PLAYERS else None
            shown.append("–" if median is None else words.difference(median, any_row, sign=False))
        title = words.title(any_row)
        if any_row.event is not None:
            title += f" ({words.event(any_row.event).lower()})"
        lines.append(f"| {title} | " + " | ".join(shown) + " |")
    head = HEAD.format(serves=serves, players=players)
    return head + "\n".join(lines) + "\n" + FOOT.format(least=MIN_PLAYERS, page=path)
