"""The report of events: how often each is where it should be, and whether its interval holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from models.contract.vocabulary import EventName
from workers.engine.event_errors import RATES

from .errors import Row
from .plan import UNSEEN


@dataclass(frozen=True)
class Aim:
    """What is asked of an event: a share of serves within so many frames, or seconds."""

    event: EventName
    frames: float | None
    seconds: float | None
    share: float
    from_fps: float = 0.0

    @property
    def words(self) -> str:
        """In words."""
        near = f"{self.seconds} s"
        if self.frames is not None:
            near = "a frame" if self.frames == 1.0 else f"{self.frames:g} frames"
        rates = f", {self.from_fps:g} frames per second and more" if self.from_fps else ""
        return f"{self.event.value} within {near}{rates}"

    def met(self, row: Row) -> bool:
        """Whether one event is as near as asked."""
        if self.frames is not None:
            return row.within(self.frames)
        return row.error_s is None or abs(row.error_s) <= (self.seconds or 0.0)


AIMS = (
    Aim(EventName.CONTACT, 1.0, None, 0.95, 60.0),
    Aim(EventName.RELEASE, 2.0, None, 0.90),
    Aim(EventName.TROPHY, 3.0, None, 0.90),
    Aim(EventName.SET_UP, None, 0.05, 1.0),
)
"""A set-up that is not given counts as right: refused, not wrong."""
LOW_BIAS_S = 0.008
"""Aim of the mean error of the racket's lowest point, seconds."""


def page(rows: Sequence[Row], about: str) -> str:
    """Return the report as Markdown."""
    films = {row.film for row in rows}
    unseen = {row.film for row in rows if row.generator == UNSEEN}
    heard = {row.film for row in rows if row.sound}
    missed = {row.film for row in rows if row.found != "serve"}
    lines = [
        "# Events of whole films",
        "",
        "Made by `python -m models.training event-report measure`: films with ball and racket, "
        "decoded, seen and measured as `servewright analyse` does, with nothing stated of them.",
        "",
        f"{about}",
        "",
        f"- {len(films)} films of one serve, {len(heard)} with sound; {len(unseen)} by the "
        f"generator `{UNSEEN}`, which nothing was trained, calibrated or tuned on.",
        f"- {len(missed)} of them were not found to be a serve; all their events count as missed.",
        "",
        "## Aims",
        "",
        f"| asked | aim | all | `{UNSEEN}` | where given |",
        "| --- | --- | --- | --- | --- |",
    ]
    for aim in AIMS:
        asked = [row for row in rows if row.event == aim.event.value and row.fps >= aim.from_fps]
        own = [row for row in asked if row.generator == UNSEEN]
        given = [row for row in asked if row.error_s is not None]
        shares = [_share([aim.met(row) for row in part]) for part in (asked, own, given)]
        lines.append(f"| {aim.words} | {aim.share:.0%} | {' | '.join(shares)} |")
    lines.append(
        f"| racket low, mean error at most | {1000 * LOW_BIAS_S:g} ms | "
        + " | ".join(_bias(rows, EventName.RACKET_LOW, own) for own in (False, True))
        + " | |"
    )
    lines += ["", "## Every event and rate", "", *_table(rows)]
    lines += ["", "## What told the contact", "", *_sources(rows)]
    lines += ["", "## Confidence", "", *_confidence(rows), ""]
    return "\n".join(lines)


def _share(values: Sequence[bool]) -> str:
    return f"{np.mean(values):.0%} of {len(values)}" if values else "–"


def _bias(rows: Sequence[Row], event: EventName, own: bool) -> str:
    errors = [
        row.error_s
        for row in rows
        if row.event == event.value
        and row.error_s is not None
        and (not own or row.generator == UNSEEN)
    ]
    if not errors:
        return "–"
    mean, sd = 1000.0 * np.mean(errors), 1000.0 * np.std(errors)
    return f"{mean:+.0f} ± {sd / np.sqrt(len(errors)):.0f} ms of {len(errors)}"


def _table(rows: Sequence[Row]) -> list[str]:
    """Errors in milliseconds, shares within frames, and what the intervals hold."""
    lines = [
        "| event | frames per second | serves | given | median error, ms "
        "| half of errors under, ms "
        "| within 1 / 2 / 3 frames | 95 % interval holds | half its width, ms | confidence |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for event in EventName:
        for fps in (*RATES, None):
            part = [r for r in rows if r.event == event.value and fps in (None, r.fps)]
            given = [r for r in part if r.error_s is not None]
            if not given:
                continue
            errors = 1000.0 * np.array([r.error_s for r in given], np.float64)
            widths = [1.96e3 * (r.sd_s or 0.0) for r in given]
            near = " / ".join(f"{np.mean([r.within(k) for r in part]):.0%}" for k in (1, 2, 3))
            lines.append(
                f"| {event.value} | {'all' if fps is None else f'{fps:g}'} | {len(part)} | "
                f"{len(given)} | {np.median(errors):+.0f} | {np.median(np.abs(errors)):.0f} | "
                f"{near} | {_share([bool(r.held) for r in given])} | {np.median(widths):.0f} | "
                f"{np.mean([r.confidence for r in given]):.2f} |"
            )
    return lines


def _sources(rows: Sequence[Row]) -> list[str]:
    contact = [r for r in rows if r.event == EventName.CONTACT.value and r.error_s is not None]
    lines = [
        "| strongest source | contacts | within a frame | half of errors under, ms |",
        "| --- | --- | --- | --- |",
    ]
    for source in sorted({r.method.split("+")[0] for r in contact}):
        part = [r for r in contact if r.method.split("+")[0] == source]
        errors = np.abs([1000.0 * (r.error_s or 0.0) for r in part])
        lines.append(
            f"| {source} | {len(part)} | {_share([r.within(1) for r in part])} | "
            f"{np.median(errors):.0f} |"
        )
    return lines


def _confidence(rows: Sequence[Row]) -> list[str]:
    """Stated confidence against how often the stated interval held."""
    given = [r for r in rows if r.confidence is not None]
    lines = [
        "| stated | events | mean stated | interval holds |",
        "| --- | --- | --- | --- |",
    ]
    edges = (0.0, 0.5, 0.7, 0.85, 1.01)
    for low, high in pairwise(edges):
        part = [r for r in given if low <= (r.confidence or 0.0) < high]
        if part:
            stated = np.mean([r.confidence for r in part])
            held = _share([bool(r.held) for r in part])
            lines.append(f"| {low:g} to {min(high, 1.0):g} | {len(part)} | {stated:.2f} | {held} |")
    return lines
