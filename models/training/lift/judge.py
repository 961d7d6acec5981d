"""How much of what is true is told: squared correlation, slope and error at events, by position."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable

import numpy as np
import torch
from torch import Tensor

from models.contract.vocabulary import EventName
from workers.engine import lift_layout as layout
from workers.engine.lift import CLOCK_S, TIMED
from workers.engine.lift_input import RATE_HZ

from .loss import Truth, head_units

Z95 = 1.96
JUDGED: tuple[tuple[str, str], ...] = (
    ("front_knee", "loading"),
    ("rear_knee", "loading"),
    ("front_knee", "trophy"),
    ("rear_knee", "trophy"),
    ("front_knee", "contact"),
    ("shoulder_tilt", "trophy"),
    ("shoulder_tilt", "contact"),
    ("trunk_inclination", "trophy"),
    ("trunk_inclination", "contact"),
    ("trunk_lateral", "trophy"),
    ("trunk_backward", "trophy"),
    ("pelvis_since", "loading"),
    ("shoulder_since", "loading"),
    ("pelvis_absolute", "loading"),
    ("shoulder_absolute", "loading"),
    ("separation", "trophy"),
    ("separation", "loading"),
    ("load", "loading"),
    ("elbow", "trophy"),
    ("elbow", "contact"),
    ("shoulder_elevation", "contact"),
    ("contact_height", "contact"),
    ("wrist_ahead", "contact"),
    ("rear_hip_height", "loading"),
    ("rear_hip_place", "loading"),
    ("front_hip_ahead", "loading"),
)

POSITIONS = (
    (15.0, "front"),
    (72.0, "front_quarter"),
    (108.0, "side"),
    (165.0, "rear_quarter"),
    (180.0, "behind"),
)
BACK_SIDE_DEG = 18.0


def position(azimuth_deg: float) -> str:
    """Name of a camera azimuth, as `workers.engine.view.view_of`, which needs more packages."""
    azimuth = azimuth_deg % 360.0
    if abs(azimuth - 270.0) <= BACK_SIDE_DEG:
        return "back_side"
    folded = min(azimuth, 360.0 - azimuth)
    return next(name for bound, name in POSITIONS if folded <= bound)


Batches = Iterable[tuple[Tensor, Truth, Tensor]]
"""Features, what is true, and camera azimuth (B,), rad."""


def judged(batches: Batches, run: Callable[[Tensor, Tensor], Tensor]) -> list[dict[str, object]]:
    """One record a quantity, event and position: count, r2, slope, mae, blind, held."""
    events = [event.value for event in TIMED]
    found: dict[tuple[str, str, str], list[tuple[float, float, float]]] = defaultdict(list)
    timing: dict[str, list[float]] = defaultdict(list)
    heading: dict[str, list[float]] = defaultdict(list)
    for features, truth, azimuth in batches:
        answer = run(features, truth.inside).float().cpu()
        truth = Truth(**{name: part.cpu() for name, part in vars(truth).items()})
        units = head_units(answer.device)
        mean, sd = answer[..., layout.MEAN] * units, answer[..., layout.LOG_SD].exp() * units
        views = [position(float(a)) for a in np.degrees(azimuth.cpu().numpy())]
        astray = torch.atan2(answer[..., layout.TARGET][..., 1], answer[..., layout.TARGET][..., 0])
        for b, view in enumerate(views):
            here = truth.inside[b]
            off = float(astray[b][here].median() - truth.heading[b])
            heading[view].append(float((np.degrees(off) + 180.0) % 360.0 - 180.0))
            for i, event in enumerate(events):
                row = float(truth.events[b, i])
                if not np.isfinite(row) or not 0 <= row < here.shape[0] - 1:
                    continue
                at = round(row)
                if not bool(here[at]):
                    continue
                timing[event].append(_clock(answer[b], i, here) - row / RATE_HZ)
                for name, when in JUDGED:
                    if when == event:
                        k = layout.HEADS.index(name)
                        values = (truth.heads[b, at, k], mean[b, at, k], sd[b, at, k])
                        found[name, event, view].append(tuple(map(float, values)))  # type: ignore[arg-type]
                        found[name, event, "all"].append(found[name, event, view][-1])
    rows: list[dict[str, object]] = [
        _row(name, event, view, np.array(values))
        for (name, event, view), values in sorted(found.items())
        if len(values) >= 20
    ]
    for event, late in timing.items():
        away = np.array([x for x in late if np.isfinite(x)]) * 1000.0
        if len(away):
            figures = {"bias_ms": _short(away.mean()), "mae_ms": _short(np.abs(away).mean())}
            rows.append({"name": f"time of {event}", "n": len(away), **figures})
    for view, wrong in heading.items():
        away = np.array(wrong)
        figures = {"bias": _short(away.mean()), "median_abs": _short(np.median(np.abs(away)))}
        rows.append({"name": "heading", "view": view, "n": len(away), **figures})
    return rows


def _clock(answer: Tensor, i: int, inside: Tensor) -> float:
    """Where the frames near an event agree that it is, seconds from the first frame."""
    clock = answer[:, layout.CLOCK][:, i]
    weight = ((0.5 - clock.abs()).clamp_min(0.0) * inside).cpu().numpy()
    when = np.arange(len(weight)) / RATE_HZ + CLOCK_S * clock.cpu().numpy()
    return float(np.average(when, weights=weight)) if weight.sum() > 0 else float("nan")


def _row(name: str, event: str, view: str, values: np.ndarray) -> dict[str, object]:
    true, told, sd = values.T
    slope = float(np.polyfit(true, told, 1)[0]) if true.std() > 1e-9 else float("nan")
    return {
        "name": f"{name} at {EventName(event).value}",
        "view": view,
        "n": len(true),
        "r2": round(float(np.corrcoef(true, told)[0, 1] ** 2), 3),
        "slope": round(slope, 3),
        "bias": _short(np.mean(told - true)),
        "mae": _short(np.mean(np.abs(told - true))),
        "blind": _short(np.mean(np.abs(true - true.mean()))),
        "held": round(float(np.mean(np.abs(told - true) <= Z95 * sd)), 3),
    }


def _short(value: float) -> float:
    return float(f"{value:.3g}")


def lines(rows: Iterable[dict[str, object]]) -> list[str]:
    """The records in words."""
    return [" ".join(f"{key} {value}" for key, value in row.items()) for row in rows]
