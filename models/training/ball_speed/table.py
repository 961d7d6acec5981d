"""The table: how far off the ball's speed is, by place of the camera and frame rate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

Z95 = 1.96


@dataclass(frozen=True)
class Row:
    """One serve: where it was filmed from, what was true, what was said."""

    place: str
    fps: float
    true: float
    value: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""


def rows_by(rows: Iterable[Row]) -> dict[tuple[str, float], list[Row]]:
    """Rows by place and rate."""
    found: dict[tuple[str, float], list[Row]] = {}
    for row in sorted(rows, key=lambda one: (one.place, one.fps)):
        found.setdefault((row.place, row.fps), []).append(row)
    return found


def line(name: str, rows: Sequence[Row]) -> str:
    """One line of the table."""
    told = [row for row in rows if row.value is not None]
    why = Counter(row.reason for row in rows if row.value is None)
    reasons = ", ".join(f"{count} {code}" for code, count in why.most_common())
    if not told:
        return f"| {name} | {len(rows)} | 0 | – | – | – | – | {reasons} |"
    off = np.array([float(row.value or 0.0) - row.true for row in told])
    share = np.abs(off) / np.array([row.true for row in told])
    held = sum((row.low or 0.0) <= row.true <= (row.high or 0.0) for row in told)
    half = np.median([((row.high or 0.0) - (row.low or 0.0)) / 2.0 for row in told])
    return (
        f"| {name} | {len(rows)} | {len(told)} | {np.mean(off):+.1f} | {np.mean(np.abs(off)):.1f} "
        f"({100 * np.mean(share):.1f} %) | {half:.1f} | {held} of {len(told)} | {reasons} |"
    )


def table(rows: Sequence[Row]) -> str:
    """All lines, in Markdown."""
    lines = [
        "| place, frames a second | serves | told | mean error, m/s | mean absolute error, m/s | "
        "95 % interval, ± m/s (median) | intervals that hold | not told, and why |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [line(f"{place}, {fps:.0f}", mine) for (place, fps), mine in rows_by(rows).items()]
    lines.append(line("all", rows))
    return "\n".join(lines)
