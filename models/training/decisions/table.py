"""How often decisions are right, wrong and undecided, as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

Counts = Mapping[str, Counter[str]]
"""``right``, ``wrong`` and ``undecided`` by kind of decision."""


def table(counts: Counts) -> list[str]:
    """Return the rows of the table, the sum last."""
    lines = ["| decision | cases | right | wrong | undecided |", "| --- | --- | --- | --- | --- |"]
    total: Counter[str] = Counter()
    for name, found in counts.items():
        total += found
        lines.append(_line(name, found))
    return [*lines, _line("all", total)]


def _line(name: str, found: Counter[str]) -> str:
    cases = sum(found.values())
    shares = (f"{100 * found[how] / cases:.1f} %" for how in ("right", "wrong", "undecided"))
    return f"| {name} | {cases} | {' | '.join(shares)} |"
