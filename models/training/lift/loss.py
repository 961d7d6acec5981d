"""What the lift is asked for: the mean of what could be, and how far off it is.

Means are trained by squares (Huber far out), so that each is the mean of its posterior, and
standard deviations by the Gaussian likelihood of the errors that are left, which the means do not
feel: a mean that may widen its own error gives up on hard frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from workers.engine import lift_layout as layout
from workers.engine.lift import CLOCK_S, TIMED
from workers.engine.lift_input import RATE_HZ

from .bank import TIMED_CONTACT

POSTURE_BEFORE_S, POSTURE_AFTER_S = 1.0, 0.15
"""Frames from so long before contact to so long after it count `WITHIN` times as much."""
WITHIN = 3.0
LOWEST_LOG_SD, HIGHEST_LOG_SD = -3.0, 4.0


@dataclass(frozen=True)
class Truth:
    """What is true of a batch, see `.sight.Batch`; ``inside`` (B, T), ``events`` (B, 4) rows."""

    relative: Tensor
    root: Tensor
    heads: Tensor
    heading: Tensor
    inside: Tensor
    events: Tensor


def head_units(device: torch.device) -> Tensor:
    """Units of the heads, (H,)."""
    return torch.tensor([layout.HEAD_SCALE[name] for name in layout.HEADS], device=device)


def frame_weights(truth: Truth) -> Tensor:
    """How much each frame counts, (B, T), of mean about one."""
    frames = truth.inside.shape[1]
    when = torch.arange(frames, device=truth.inside.device)[None]
    away = (when - truth.events[:, TIMED_CONTACT, None]) / RATE_HZ
    close = (away > -POSTURE_BEFORE_S) & (away < POSTURE_AFTER_S)
    weight = truth.inside * (1.0 + (WITHIN - 1.0) * close)
    return weight / weight.mean().clamp_min(1e-6)


def _likelihood(error: Tensor, log_sd: Tensor) -> Tensor:
    log_sd = log_sd.clamp(LOWEST_LOG_SD, HIGHEST_LOG_SD)
    return 0.5 * (error.detach() * torch.exp(-log_sd)).square() + log_sd


def parts(answer: Tensor, truth: Truth) -> dict[str, Tensor]:
    """The parts of the loss, each a number."""
    weight = frame_weights(truth)

    def mean(values: Tensor) -> Tensor:
        return (values.mean(-1) * weight).mean()

    huber = torch.nn.functional.huber_loss
    unit = layout.POSITION_UNIT
    place = truth.relative.flatten(2) / unit
    off = answer[..., layout.RELATIVE] - place
    root = answer[..., layout.ROOT] - truth.root / unit
    heads = truth.heads / head_units(answer.device)
    known = torch.isfinite(heads)
    heads = torch.where(known, heads, 0.0)
    missed = torch.where(known, answer[..., layout.MEAN] - heads, 0.0)
    aim = torch.stack([truth.heading.cos(), truth.heading.sin()], -1)[:, None]
    target = answer[..., layout.TARGET]
    astray = torch.atan2(
        target[..., 1] * aim[..., 0] - target[..., 0] * aim[..., 1],
        (target * aim).sum(-1),
    )[..., None]
    rows = torch.arange(answer.shape[1], device=answer.device)[None, :, None]
    until = (truth.events[:, None] - rows) / RATE_HZ / CLOCK_S
    timed = torch.isfinite(until)
    until = torch.where(timed, until, 0.0).clamp(-1.0, 1.0)
    late = torch.where(timed, answer[..., layout.CLOCK] - until, 0.0)
    zero = torch.zeros_like
    return {
        "joints": mean(huber(off, zero(off), reduction="none", delta=2.0)),
        "root": mean(huber(root, zero(root), reduction="none", delta=2.0)),
        "joint_sd": mean(_likelihood(off, answer[..., layout.JOINT_LOG_SD])),
        "heads": mean(huber(missed, zero(missed), reduction="none", delta=5.0)),
        "head_sd": mean(_likelihood(missed, answer[..., layout.LOG_SD])),
        "target": mean((target - aim).square()),
        "target_sd": mean(
            _likelihood(astray, answer[..., layout.TARGET_LOG_SD : layout.TARGET_LOG_SD + 1])
        ),
        "clocks": mean(huber(late, zero(late), reduction="none", delta=0.1)),
    }


SHARES = {
    "joints": 1.0,
    "root": 0.3,
    "joint_sd": 0.1,
    "heads": 1.5,
    "head_sd": 0.2,
    "target": 1.0,
    "target_sd": 0.05,
    "clocks": 3.0,
}
"""Weight of each part (working values)."""
assert len(TIMED) == layout.CLOCKS


def total(found: dict[str, Tensor]) -> Tensor:
    """The loss."""
    return torch.stack([SHARES[name] * value for name, value in found.items()]).sum()
