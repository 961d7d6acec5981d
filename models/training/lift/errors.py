"""How pose networks err on people, drawn anew for every film: torch, in batches.

Networks learn from clicks on the surface, so a landmark stands off its joint centre in the body's
own axes; how far, differs between people, clothes and networks, and what rendered people show is
not what real ones do. So each film draws its own offsets, in any direction, a part of the error
that goes with the posture in a way of its own, and a part that wanders in time. Their sizes are
those of a real person filmed in a laboratory with known joint centres (root mean square in the
picture: hips 2.2, shoulders 1.9, knees 1.8, ankles 1.5 percent of stature, of which a part is
constant in the body's axes), and not smaller than on rendered people.
"""

from __future__ import annotations

import torch
from torch import Generator, Tensor

from models.contract.skeleton import ARM_AND_LEG, part_of
from models.contract.skeleton import CANONICAL_BODY as BODY

from .targets import at, middle

OFFSET_SD = {
    "hip": 0.0115,
    "shoulder": 0.0100,
    "knee": 0.0085,
    "ankle": 0.0080,
    "elbow": 0.0090,
    "wrist": 0.0080,
    "heel": 0.0110,
    "toe": 0.0110,
}
"""Constant offset of a landmark, each axis of its segment, standing heights."""
FACE_SD = 0.008
WANDER_SD = {
    "hip": 0.0085,
    "shoulder": 0.0080,
    "knee": 0.0080,
    "ankle": 0.0065,
    "elbow": 0.0085,
    "wrist": 0.0085,
    "heel": 0.0090,
    "toe": 0.0090,
}
"""Error that wanders, each axis of the picture, standing heights."""
WHITE_SD = 0.0022
"""Error of a single frame, each axis, standing heights."""
SPEED_SD = 0.004
"""Error that comes with speed (blur), standing heights per standing height a second."""
ALIKE = 0.65
"""Share of the variance of an error that both networks have in common (working value)."""
BURST_SHARE = 0.35
"""Share of the films in which a limb is lost for a while."""
LIMBS = tuple(
    BODY.rows(f"{side}_{joint}" for joint in joints)
    for sides, joints in (
        (("tossing", "hitting"), ("elbow", "wrist")),
        (("front", "rear"), ("knee", "ankle", "heel", "toe")),
        (("front", "rear"), ("ankle", "heel", "toe")),
        (("hitting",), ("shoulder", "elbow", "wrist")),
    )
    for side in sides
)


def spread(sizes: dict[str, float], device: torch.device) -> Tensor:
    """Standard deviations by joint, (21,)."""
    return torch.tensor([sizes.get(part_of(name), FACE_SD) for name in BODY], device=device)


def _basis(first: Tensor, second: Tensor) -> Tensor:
    """Right-handed axes (..., 3, 3), rows: along the first vector, the second square to it."""
    one = torch.nn.functional.normalize(first, dim=-1, eps=1e-6)
    rest = second - (second * one).sum(-1, keepdim=True) * one
    two = torch.nn.functional.normalize(rest, dim=-1, eps=1e-6)
    return torch.stack([one, two, torch.linalg.cross(one, two)], -2)


def body_axes(joints: Tensor) -> Tensor:
    """Axes of the segment that each joint belongs to, (..., 21, 3, 3), rows are axes."""
    trunk = middle(joints, "shoulder") - middle(joints, "hip")
    hips = at(joints, "front_hip") - at(joints, "rear_hip")
    shoulders = at(joints, "tossing_shoulder") - at(joints, "hitting_shoulder")
    pelvis, chest = _basis(hips, trunk), _basis(shoulders, trunk)
    axes = dict.fromkeys(BODY, chest)
    for arm, leg in ARM_AND_LEG:
        upper = at(joints, f"{arm}_elbow") - at(joints, f"{arm}_shoulder")
        fore = at(joints, f"{arm}_wrist") - at(joints, f"{arm}_elbow")
        thigh = at(joints, f"{leg}_knee") - at(joints, f"{leg}_hip")
        shank = at(joints, f"{leg}_ankle") - at(joints, f"{leg}_knee")
        foot = at(joints, f"{leg}_toe") - at(joints, f"{leg}_heel")
        axes |= {f"{arm}_elbow": _basis(upper, trunk), f"{arm}_wrist": _basis(fore, upper)}
        axes |= {f"{leg}_hip": pelvis, f"{leg}_knee": _basis(thigh, hips)}
        sole = _basis(foot, shank)
        axes |= {f"{leg}_ankle": sole, f"{leg}_heel": sole, f"{leg}_toe": sole}
    return torch.stack([axes[name] for name in BODY], -3)


def _mirrored(values: Tensor) -> Tensor:
    """Offsets (B, 21, 3) in segment axes as the other side has them."""
    flip = torch.tensor([1.0, 1.0, -1.0], device=values.device)
    return values[:, list(BODY.swap)] * flip


def landmark_offsets(joints: Tensor, chance: Generator) -> tuple[Tensor, Tensor]:
    """Offsets of both networks' landmarks in space, (B, T, 21, 3) each, standing heights.

    Half of an offset's variance is alike on both sides of the body.
    """
    axes = body_axes(joints)
    size = spread(OFFSET_SD, joints.device)[None, :, None]

    def one() -> Tensor:
        shape = (len(joints), len(BODY), 3)
        left = torch.randn(shape, generator=chance, device=joints.device)
        own = torch.randn(shape, generator=chance, device=joints.device)
        both: Tensor = (0.5 * (left + _mirrored(left)) + own * 0.5**0.5) * size
        return both

    shared = one()

    def network() -> Tensor:
        drawn = ALIKE**0.5 * shared + (1 - ALIKE) ** 0.5 * one()
        return torch.einsum("btjkc,bjk->btjc", axes, drawn)

    return network(), network()


def wandering(shape: tuple[int, ...], memory_s: Tensor, rate: float, chance: Generator) -> Tensor:
    """Unit noise (B, T, ...) that keeps its memory for so many seconds, one time a film."""
    frames = shape[1]
    long = 2 ** int(1.25 * frames).bit_length()
    white = torch.randn((shape[0], long, *shape[2:]), generator=chance, device=memory_s.device)
    keep = torch.exp(-1.0 / (rate * memory_s))[:, None]
    # the square root of the spectrum of a first-order process, exact on the padded circle
    turn = torch.arange(long // 2 + 1, device=memory_s.device) * (2 * torch.pi / long)
    gain = torch.sqrt((1 - keep**2) / (1 - 2 * keep * torch.cos(turn) + keep**2))
    spectrum = torch.fft.rfft(white, dim=1)
    gain = gain.reshape(*gain.shape, *([1] * (len(shape) - 2)))
    noise: Tensor = torch.fft.irfft(spectrum * gain, n=long, dim=1)
    return noise[:, :frames]


def with_posture(pose: Tensor, width: int, chance: Generator) -> Tensor:
    """Unit errors (B, T, width) that follow the posture (B, T, P), each film in its own way."""
    about = pose - pose.mean(1, keepdim=True)
    size = about.square().mean((1, 2), keepdim=True).sqrt().clamp_min(1e-3)
    ways = torch.randn((len(pose), pose.shape[2], width), generator=chance, device=pose.device) / (
        pose.shape[2] ** 0.5
    )
    found: Tensor = torch.bmm(about / size, ways)
    return found


def bursts(shape: tuple[int, int], chance: Generator, device: torch.device) -> Tensor:
    """How far each joint is lost, 0 to 1, (B, T, 21): a limb, for a tenth to half a second."""
    count, frames = shape
    limbs = torch.zeros(len(LIMBS), len(BODY), device=device)
    for i, rows in enumerate(LIMBS):
        limbs[i, rows] = 1.0
    chosen = limbs[torch.randint(len(LIMBS), (count,), generator=chance, device=device)]

    def uniform() -> Tensor:
        return torch.rand(count, 1, generator=chance, device=device)

    start, length = uniform() * frames, 6 + 24 * uniform()
    when = torch.arange(frames, device=device)[None]
    inside = ((when >= start) & (when < start + length)).float()
    happens = (uniform() < BURST_SHARE).float()
    found: Tensor = inside[..., None] * chosen[:, None] * happens[..., None]
    return found
