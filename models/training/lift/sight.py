"""Movements as the pose networks would see them from random cameras: what the lift reads.

Everything in torch, in batches, on the device that trains. `features` says the same as
`workers.engine.lift_input.assemble`; a test holds both against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Generator, Tensor

from models.contract.skeleton import CANONICAL_BODY as BODY
from workers.engine.lift_input import (
    EAR_TO_ANKLE,
    RATE_HZ,
    SECOND,
    STANDING_S,
    TOLD_SPREAD_DEG,
)

from . import cameras as cam
from . import errors
from .residuals import WIDTHS, Residuals
from .targets import heads_of, middle

STILL = int(STANDING_S * RATE_HZ) + 1
SLOWEST, FASTEST = 24.0, 75.0
"""Range of film rates, frames a second; faster ones are averaged down to the even rate."""
TOLD_SHARE = 0.4
"""Share of the films whose direction is told."""
LENT_SHARE = 0.6
"""Share of the drawn movements that err as films did, where there are films."""
LENT_OFFSETS = 0.6
"""Size of the drawn landmark offsets on top of those errors: rendered people are clicked in other
places than real ones."""
NO_SECOND = 0.1
"""Share of the films seen by one network only."""
NO_SPACE = 0.15
"""Share of the films whose own 3D says nothing (it repeats the picture with no depth)."""


_BEFORE_TOLD = 3 * len(BODY) + 3 * SECOND + 3 * len(BODY) + 3
TOLD = slice(_BEFORE_TOLD, _BEFORE_TOLD + 3)
"""Columns of the told direction in the network's input."""


@dataclass(frozen=True)
class Batch:
    """What is read and what is true.

    Attributes
    ----------
    features : Tensor, shape (B, T, WIDTH)
    relative : Tensor, shape (B, T, 21, 3)
        True joints about the mid-hip in the levelled frame, less their seen place (x, z).
    root : Tensor, shape (B, T, 3)
        True path of the mid-hip from its standing place, less the seen one (x, z).
    heads : Tensor, shape (B, T, H)
    heading : Tensor, shape (B,)
        Direction of the target in the levelled frame, rad.
    azimuth : Tensor, shape (B,)
    """

    features: Tensor
    relative: Tensor
    root: Tensor
    heads: Tensor
    heading: Tensor
    azimuth: Tensor


def features(
    place: Tensor,
    second: Tensor,
    sure: Tensor,
    second_sure: Tensor,
    space: Tensor,
    path: Tensor,
    has_second: Tensor,
    told: Tensor,
) -> Tensor:
    """Columns of the network's input, (B, T, WIDTH); see `workers.engine.lift_input.assemble`."""
    count, frames = place.shape[:2]
    still = min(STILL, frames)
    standing = [_median(part[:, :still].flatten(2)) for part in (place, space)]
    fixed = torch.cat([has_second[:, None], told, *standing], 1)
    return torch.cat(
        [
            place.flatten(2),
            second.flatten(2),
            sure,
            second_sure,
            space.flatten(2),
            path,
            fixed[:, None].expand(count, frames, fixed.shape[1]),
        ],
        2,
    )


def _median(values: Tensor) -> Tensor:
    """Median over time (B, T, D), the mean of the middle two of an even count."""
    order = values.sort(dim=1).values
    count = values.shape[1]
    return (order[:, (count - 1) // 2] + order[:, count // 2]) / 2


def standing_size(points: Tensor) -> Tensor:
    """Standing height in the units of points (B, T, 21, D), the last axis up: (B,)."""
    still = points[:, :STILL]
    return _median((middle(still, "ear") - middle(still, "ankle"))[..., -1:])[:, 0] / EAR_TO_ANKLE


def at_film_rate(series: Tensor, rate: Tensor, chance: Generator) -> Tensor:
    """A series (B, T, D) at 60 Hz as a film of some rate (B,) keeps it, read again at 60 Hz."""
    count, frames = series.shape[:2]
    device = series.device
    step = RATE_HZ / rate[:, None]
    first = torch.rand(count, 1, generator=chance, device=device) * 0.0
    which = torch.arange(frames, device=device)[None]
    filmed = _read(series, first + which * step)
    lost = torch.rand(count, frames, generator=chance, device=device) < 0.01
    bridged = (filmed.roll(1, 1) + filmed.roll(-1, 1)) / 2
    lost[:, [0, -1]] = False
    filmed = torch.where(lost[..., None], bridged, filmed)
    return _read(filmed, (which - first) / step)


def _read(series: Tensor, place: Tensor) -> Tensor:
    """Linear interpolation of (B, T, D) at rows (B, N), held at the ends."""
    place = place.clamp(0.0, series.shape[1] - 1.001)
    low = place.long()
    share = (place - low)[..., None]
    below = low[..., None].expand(-1, -1, series.shape[2])
    return series.gather(1, below) * (1 - share) + series.gather(1, below + 1) * share


def see(
    joints: Tensor,
    chance: Generator,
    residuals: Residuals | None = None,
    events: Tensor | None = None,
) -> Batch:
    """Movements (B, T, 21, 3), court frame, standing heights, as films show them.

    With ``residuals`` a part of the movements errs as films did; ``events`` (B, 4) are rows.
    """
    device, (count, frames) = joints.device, joints.shape[:2]

    def uniform(low: float = 0.0, high: float = 1.0) -> Tensor:
        return low + (high - low) * torch.rand(count, generator=chance, device=device)

    cameras = cam.draw(joints, STILL, chance)
    level = cam.levelled(joints, cameras)
    near = level[:, :STILL, :, 1].mean((1, 2))
    pose = level - middle(level, "hip")[:, :, None]
    planes, sures = [], []
    quality = torch.exp(0.35 * torch.randn(count, generator=chance, device=device))
    rate = torch.where(uniform() < 0.5, torch.full_like(near, RATE_HZ), uniform(SLOWEST, FASTEST))
    rate = rate.clamp_max(RATE_HZ)
    memory = 0.05 * 10.0 ** uniform()
    shape = (count, frames, 2 * len(BODY))
    lost = errors.bursts((count, frames), chance, device)
    toss = lost * (0.03 + 0.06 * uniform()[:, None, None])
    common = _wander(pose, shape, memory, chance)
    astray = errors.wandering(shape, memory, RATE_HZ, chance)
    speed = torch.zeros_like(level[..., 0])
    speed[:, 1:] = torch.linalg.norm(level[:, 1:] - level[:, :-1], dim=-1) * RATE_HZ
    wander = errors.spread(errors.WANDER_SD, device)[:, None].expand(-1, 2).flatten()
    part = errors.ALIKE
    lent: tuple[Tensor, ...] = ()
    lends = torch.zeros_like(near)
    if residuals is not None and events is not None:
        lends = (uniform() < LENT_SHARE).float()
        all_lent = residuals.lend(cameras.azimuth, events, frames, chance)
        lent = torch.split(all_lent, list(WIDTHS), 2)
    lends = lends[:, None, None]
    for k, offset in enumerate(errors.landmark_offsets(joints, chance)):
        offset = offset * (1.0 - (1.0 - LENT_OFFSETS) * lends[..., None])
        shifted = level + torch.einsum("btjc,brc->btjr", offset, cameras.axes)
        plane = cam.project(shifted, cameras) * near[:, None, None, None]
        own = _wander(pose, shape, memory, chance)
        noise = (part**0.5 * common + (1 - part) ** 0.5 * own) * wander
        white = torch.randn(shape, generator=chance, device=device)
        blur = (errors.SPEED_SD * speed).repeat_interleave(2, 2)
        noise = noise + white * (errors.WHITE_SD + blur)
        noise = noise * quality[:, None, None] + astray * toss.repeat_interleave(2, 2)
        planes.append(plane.flatten(2) + noise)
        size = _points(noise, 2).square().sum(-1).sqrt()
        doubt = 3.0 + torch.randn(count, 1, 1, generator=chance, device=device)
        doubt = doubt - 25.0 * size - 2.0 * lost * uniform()[:, None, None]
        sures.append(torch.sigmoid(doubt + 0.5 * torch.randn_like(doubt)))
        if lent:
            planes[k] = torch.where(lends > 0, plane.flatten(2) + lent[k], planes[k])
            sures[k] = torch.where(lends > 0, lent[2 + k], sures[k])
    space = _own_space(pose, memory, quality, chance)
    if lent:
        space = torch.where(lends[..., None] > 0, pose + _points(lent[4], 3), space)
    together = torch.cat([*planes, *sures, space.flatten(2)], 2)
    together = at_film_rate(together, rate, chance)
    widths = [2 * len(BODY)] * 2 + [len(BODY)] * 2 + [3 * len(BODY)]
    first, second, sure, second_sure, space = torch.split(together, widths, 2)
    first, second = _points(first, 2), _points(second, 2)[:, :, :SECOND]
    return batch_of(joints, level, cameras, first, second, sure, second_sure[..., :SECOND],
                    _points(space, 3), chance)  # fmt: skip


def batch_of(
    joints: Tensor,
    level: Tensor,
    cameras: cam.Cameras,
    first: Tensor,
    second: Tensor,
    sure: Tensor,
    second_sure: Tensor,
    space: Tensor,
    chance: Generator,
) -> Batch:
    """Put what is seen and what is true together; some films lack the second network or 3D."""
    device, count = joints.device, len(joints)

    def happens(share: float) -> Tensor:
        return torch.rand(count, generator=chance, device=device) < share

    tall = standing_size(first)[:, None, None]
    high = standing_size(space).clamp_min(0.2)[:, None, None]
    hips = middle(first, "hip")
    place = (first - hips[:, :, None]) / tall[..., None]
    path = (hips - _median(hips[:, :STILL])[:, None]) / tall
    space = (space - middle(space, "hip")[:, :, None]) / high[..., None]
    flat = torch.stack([place[..., 0], torch.zeros_like(place[..., 0]), place[..., 1]], -1)
    space = torch.where(happens(NO_SPACE)[:, None, None, None], flat, space)
    has = (~happens(NO_SECOND)).float()
    second = (second - hips[:, :, None]) / tall[..., None] * has[:, None, None, None]
    heading = torch.atan2(cameras.axes[:, 1, 0], cameras.axes[:, 0, 0])
    spread = 0.5 + 11.5 * torch.rand(count, generator=chance, device=device)
    off = torch.deg2rad(spread) * torch.randn(count, generator=chance, device=device)
    weight = torch.exp(-spread / TOLD_SPREAD_DEG) * happens(TOLD_SHARE)
    said = heading + off
    told = torch.stack([said.sin(), said.cos(), torch.ones_like(said)], 1) * weight[:, None]
    read = features(place, second, sure, second_sure * has[:, None, None], space, path, has, told)
    truth = level - middle(level, "hip")[:, :, None]
    relative = truth.clone()
    relative[..., 0] -= place[..., 0]
    relative[..., 2] -= place[..., 1]
    root = middle(level, "hip")
    root = root - _median(root[:, :STILL])[:, None]
    root[..., 0] -= path[..., 0]
    root[..., 2] -= path[..., 1]
    return Batch(read, relative, root, heads_of(joints, STILL), heading, cameras.azimuth)


def _wander(pose: Tensor, shape: tuple[int, int, int], memory: Tensor, chance: Generator) -> Tensor:
    """Unit error in time: half of it goes with the posture."""
    noise = errors.wandering(shape, memory, RATE_HZ, chance)
    unit: Tensor = 0.5**0.5 * (noise + errors.with_posture(pose.flatten(2), shape[2], chance))
    return unit


def _points(flat: Tensor, size: int) -> Tensor:
    """(B, T, J * size) as (B, T, J, size)."""
    return flat.reshape(*flat.shape[:2], -1, size)


def _own_space(pose: Tensor, memory: Tensor, quality: Tensor, chance: Generator) -> Tensor:
    """The first network's own 3D: depth drawn to the usual, and wrong in ways of its own."""
    count, frames, joints, _ = pose.shape
    shape = (count, frames, 3 * joints)
    device = pose.device
    gain = 0.55 + 0.5 * torch.rand(count, 1, 1, generator=chance, device=device)
    usual = 0.03 * torch.randn(count, 1, joints, 3, generator=chance, device=device)
    noise = _points(_wander(pose, shape, memory, chance), 3)
    noise = noise * quality[:, None, None, None]
    size = torch.tensor([0.02, 0.035, 0.02], device=device)
    out: Tensor = pose + usual + noise * size
    out[..., 1] = out[..., 1] * gain
    return out
