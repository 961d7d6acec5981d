"""How often decisions are right, wrong and undecided, as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from .judged import Decision

Counts = Mapping[str, Counter[str]]
"""``right``, ``wrong``, ``undecided``, and of these ``near``, by what was decided on."""
NEAR = 1.0
"""Of what is truly no farther from its limit than so many stated standard errors, more than half
cannot be decided at the probability of 0.8 that plans ask for."""
COLUMNS = ("decision", "cases", "right", "wrong", "undecided", "of these near the limit")


def counted(counts: dict[str, Counter[str]], decisions: Iterable[Decision]) -> None:
    """Add decisions to counts."""
    for one in decisions:
        found = counts.setdefault(one.about, Counter())
        found[one.how] += 1
        found["near"] += one.how == "undecided" and one.away is not None and one.away <= NEAR


def joined(parts: Iterable[Counts]) -> dict[str, Counter[str]]:
    """Return the sum of several counts."""
    total: dict[str, Counter[str]] = {}
    for counts in parts:
        for name, found in counts.items():
            total[name] = total.get(name, Counter()) + found
    return total


def tables(by_rate: Mapping[str, Counts]) -> list[str]:
    """Return the table of all films and, where rates differ, one for each frame rate of serves."""
    lines = table(joined(by_rate.values()))
    if len(by_rate) > 1:
        for rate, counts in sorted(by_rate.items()):
            lines += ["", f"Players whose serves were filmed at {rate} frames a second:", ""]
            lines += table(counts)
    return lines


def table(counts: Counts) -> list[str]:
    """Return the rows of the table, the sum last."""
    lines = [f"| {' | '.join(COLUMNS)} |", f"|{' --- |' * len(COLUMNS)}"]
    total: Counter[str] = Counter()
    for name, found in counts.items():
        total += found
        lines.append(_line(name, found))
    return [*lines, _line("all", total)]


def _line(name: str, found: Counter[str]) -> str:
    cases = sum(found[how] for how in ("right", "wrong", "undecided"))
    shares = (
        f"{100 * found[how] / cases:.1f} %" for how in ("right", "wrong", "undecided", "near")
    )
    return f"| {name} | {cases} | {' | '.join(shares)} |"
