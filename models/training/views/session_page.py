"""What one value of a session filmed from two places is worth: errors, coverage, agreement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.metrics.definition import metric_name
from models.training.views.sessions import SERVES, DrawnSession
from workers.decide.places import place_mean
from workers.decide.session_values import session_values

TITLE = "## Sessions filmed from two places in turn"
LEAST = 8
"""Sessions that both places must have measured a metric in, for a row of its own."""


@dataclass(frozen=True)
class Judged:
    """One metric of one session: what both places together and each alone are off, and whether the
    interval holds the truth.
    """

    name: str
    off: float
    held: bool
    agree: bool | None
    alone: tuple[float | None, float | None]


def judge(session: DrawnSession) -> list[Judged]:
    """Hold a session's values against the mean of its serves' true values."""
    films = [
        (f"{place}-{i}", analysis)
        for place, analyses in enumerate(session.analyses)
        for i, analysis in enumerate(analyses)
    ]
    true: dict[str, list[float]] = defaultdict(list)
    for truths in session.truths:
        for serve in truths:
            for name, told in serve.items():
                true[name].append(told)
    found = []
    for value in session_values(films).values:
        name = metric_name(value.key, value.event)
        if value.value is None or len(true[name]) < len(films):
            continue
        truth = float(np.mean(true[name]))
        alone: list[float | None] = []
        for analyses in session.analyses:
            rows = [
                m
                for a in analyses
                for r in a.repetitions
                for m in r.metrics
                if (m.key, m.event) == (value.key, value.event)
            ]
            mean = place_mean(rows)
            alone.append(None if mean is None else mean.mean - truth)
        assert value.low is not None
        assert value.high is not None
        held = value.low <= truth <= value.high
        off = value.value - truth
        found.append(Judged(name, off, held, value.agree, (alone[0], alone[1])))
    return found


def section(sessions: Sequence[DrawnSession], about: str) -> str:
    """Return the section of the page in Markdown."""
    judged = [one for session in sessions for one in judge(session)]
    by_name: dict[str, list[Judged]] = defaultdict(list)
    for one in judged:
        by_name[one.name].append(one)
    counts = [sum(one.alone[place] is not None for one in judged) for place in (0, 1)]
    held = 100.0 * float(np.mean([one.held for one in judged]))
    both = [one for one in judged if None not in one.alone]
    apart = 100.0 * float(np.mean([one.agree is False for one in both])) if both else 0.0
    rows, ratios = [], []
    for name, mine in sorted(by_name.items()):
        pairs = [one for one in mine if None not in one.alone]
        if len(pairs) < LEAST:
            continue
        errors = [float(np.mean([abs(one.alone[p] or 0.0) for one in pairs])) for p in (0, 1)]
        better = int(np.argmin(errors))
        session = float(np.mean([abs(one.off) for one in pairs]))
        ratios.append(session / max(errors[better], 1e-12))
        covered = 100.0 * float(np.mean([one.held for one in pairs]))
        rows.append(
            f"| `{name}` | {len(pairs)} | {errors[0]:.3g} | {errors[1]:.3g} | {session:.3g} "
            f"| {ratios[-1]:.2f} | {covered:.0f} % |"
        )
    return "\n".join(
        [
            TITLE,
            "",
            f"{about} {len(sessions)} players, {SERVES} serves from the side and then {SERVES} "
            "others from the front quarter, height given and serves announced. Truth is the mean "
            "of all the session's serves. Films of one place but of slow and quick frame rates "
            "count as of two. What a network errs alike in all films of a place is half of a "
            "landmark's variance. The better view is the one that erred less over all "
            "these sessions, which nobody knows beforehand.",
            "",
            f"- Values that a session gives: {len(judged)}; the side alone gives {counts[0]} of "
            f"them, the front quarter alone {counts[1]}, both {len(both)}.",
            f"- 95 % intervals held the truth of **{held:.1f} %** of them.",
            f"- Error of the session's value over that of the better view: median "
            f"**{float(np.median(ratios)) if ratios else float('nan'):.2f}** over {len(ratios)} "
            f"metrics that both give; of {apart:.1f} % of these values the places were said to "
            "disagree.",
            "",
            "| metric | sessions | mean error, side | front quarter | session | over the better "
            "view | interval holds |",
            "| --- | --- | --- | --- | --- | --- | --- |",
            *rows,
            "",
        ]
    )


def put_in(page: str, text: str) -> str:
    """Return a page with the section of that title replaced, or added at the end."""
    start = page.find(text.splitlines()[0])
    if start < 0:
        return page.rstrip("\n") + "\n\n" + text
    following = page.find("\n## ", start + 1)
    rest = "" if following < 0 else page[following + 1 :]
    return page[:start] + text + rest


def section_of(page: str, title: str = TITLE) -> str | None:
    """Return the section of a title of a page, None where there is none."""
    start = page.find(title)
    if start < 0:
        return None
    following = page.find("\n## ", start + 1)
    return page[start:] if following < 0 else page[start : following + 1]
