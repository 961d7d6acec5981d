"""The page of what two films of one serve give."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from models.contract.note import Note
from models.training.views.bodies import ONE, TWO, AngleFound
from models.training.views.laboratory import LabPair
from models.training.views.measure import RIGHT, Tried
from workers.engine.views.pairing import ViewPair

HEAD = """# Two films of one serve

Written by `python -m models.training views LAB --wrong 8 --bodies 14 --out
infra/accuracy/views.md`.

Pairs are drawn, not filmed: serves of the generator `force_driven` (seed 901), which nothing of
this was chosen on, seen by two hand-held cameras 40 to 120 degrees apart of 30, 50, 60 or 120
frames a second, clocks up to 3 s apart, pictures read line by line in 5 to 16 ms, landmarks 1.2 %
of stature off (wrists 1.8 %), half of it constant over the film. Constants were chosen on other
generators (`bumps`, `minimum_jerk`; in sample there, not shown here). Drawn errors are independent
between the films and of a form that the adjustment knows; those of networks need not be.
"""


def page(
    found: Sequence[Tried], angles: Sequence[AngleFound], laboratory: Sequence[LabPair]
) -> str:
    """Return the page in Markdown."""
    parts = [HEAD, _answers(found), _errors(found), _bodies(angles)]
    if laboratory:
        parts.append(_laboratory(laboratory))
    return "\n".join(parts)


def _answers(found: Sequence[Tried]) -> str:
    lines = ["## Right and wrong pairs", "", "| films of | pairs | put together | refused as |"]
    lines.append("| --- | --- | --- | --- |")
    for case in dict.fromkeys(one.case for one in found):
        mine = [one for one in found if one.case == case]
        codes = [one.found.code for one in mine if isinstance(one.found, Note)]
        told = ", ".join(f"`{code}` {codes.count(code)}" for code in sorted(set(codes))) or "-"
        lines.append(f"| {case} | {len(mine)} | {len(mine) - len(codes)} | {told} |")
    return "\n".join(lines) + "\n"


def _errors(found: Sequence[Tried]) -> str:
    right = [one for one in found if one.case == RIGHT and isinstance(one.found, ViewPair)]
    rows: list[tuple[str, Callable[[Tried], float], Callable[[ViewPair], float], float]] = [
        ("offset of the clocks, ms", lambda t: t.sync_ms, lambda p: 1e3 * p.offset_sd_s, 4.0),
        ("angle between the cameras, deg", lambda t: t.direction_deg,
         lambda p: p.apart_sd_deg, 3.0),
    ]  # fmt: skip
    lines = [f"## Errors of the {len(right)} right pairs that were put together", ""]
    lines.append("| | median | 95 % within | aim | share within the aim | mean | 95 % intervals |")
    lines.append("| --- | --- | --- | --- | --- | --- | --- |")
    for name, error, stated, aim in rows:
        off = np.array([error(one) for one in right])
        sd = np.array([stated(one.found) for one in right if isinstance(one.found, ViewPair)])
        held = 100.0 * float(np.mean(np.abs(off) <= 1.96 * sd))
        size = np.abs(off)
        lines.append(
            f"| {name} | {np.median(size):.1f} | {np.percentile(size, 95):.1f} | {aim:g} "
            f"| {100.0 * float(np.mean(size <= aim)):.0f} % | {off.mean():+.1f} "
            f"| hold {held:.0f} % |"
        )
    return "\n".join(lines) + "\n"


def _bodies(angles: Sequence[AngleFound]) -> str:
    lines = [
        "## Angles at loading and contact, one film and two",
        "",
        "Degrees; one film: fit with the learned lift, uncorrected; two films: the fit of both",
        "with the lift of the first.",
        "The direction of the first camera is given to both. r² is the squared correlation of",
        "measured and true value over all serves and both instants.",
        "",
        "| angle | values | mean error, one | two | r², one | two | intervals hold, one | two |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name in dict.fromkeys(one.name for one in angles):
        cells: dict[str, list[str]] = {"error": [], "r2": [], "held": []}
        count = 0
        for way in (ONE, TWO):
            mine = [one for one in angles if (one.name, one.way) == (name, way)]
            off, true = (np.array([getattr(m, key) for m in mine]) for key in ("off", "true"))
            sd = np.array([one.sd for one in mine])
            count = len(mine)
            cells["error"].append(f"{np.mean(np.abs(off)):.1f}")
            cells["r2"].append(f"{np.corrcoef(true + off, true)[0, 1] ** 2:.2f}")
            cells["held"].append(f"{100.0 * float(np.mean(np.abs(off) <= 1.96 * sd)):.0f} %")
        row = " | ".join([*cells["error"], *cells["r2"], *cells["held"]])
        lines.append(f"| {name} | {count} | {row} |")
    return "\n".join(lines) + "\n"


def _laboratory(pairs: Sequence[LabPair]) -> str:
    lines = [
        "## The laboratory films",
        "",
        "One man before four cameras that look 18 to 24 degrees down and are rolled by up to 24",
        "degrees; no serve, no calibration used. They were only reported on. The product's answer",
        "is for phones held upright; beside it stands what the adjustment finds when no pair is",
        "refused, and mean errors of the fitted body against the markers at two instants (turns",
        "about the first camera).",
        "",
        "| films | true angle, deg | answer | found angle, deg | error, deg | offset error, ms "
        "| knees, deg | pelvis turn, deg | separation, deg | trunk, deg |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for pair in pairs:
        answer = f"`{pair.found.code}`" if isinstance(pair.found, Note) else "a pair"
        off = (pair.adjusted_deg - pair.apart_deg + 180.0) % 360.0 - 180.0
        lines.append(
            f"| {' and '.join(pair.names)} | {pair.apart_deg:.0f} | {answer} "
            f"| {pair.adjusted_deg:.0f} | {off:+.1f} | {pair.adjusted_ms:+.1f} "
            + " ".join(
                f"| {pair.errors[name]:.1f}"
                for name in ("knee flexion", "pelvis turn", "separation", "trunk inclination")
            )
            + " |"
        )
    return "\n".join(lines) + "\n"
