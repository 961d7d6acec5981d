"""Cameras as people hold them, for batches of movements: torch."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Generator, Tensor

from .targets import middle

NEAREST, FARTHEST = 2.5, 9.0
"""Distance of the camera, standing heights."""
LOWEST, HIGHEST = 0.15, 2.3
"""Height of the camera over the floor, standing heights."""
PITCH_SD, YAW_SD, ROLL_SD = 0.10, 0.14, 0.035
"""How far the picture's axes are off the line to the person and the vertical, rad."""


@dataclass(frozen=True)
class Cameras:
    """One camera for each movement of a batch.

    Attributes
    ----------
    azimuth : Tensor, shape (B,)
        About the server, rad: 0 = from the net, 90 deg = facing the chest.
    position : Tensor, shape (B, 3)
        Court frame, standing heights.
    axes : Tensor, shape (B, 3, 3)
        Rows: right, away, up of the levelled frame, along the line to the standing person.
    look : Tensor, shape (B, 3)
        Pitch, yaw and roll of the picture against that line, rad.
    """

    azimuth: Tensor
    position: Tensor
    axes: Tensor
    look: Tensor


def draw(joints: Tensor, still: int, chance: Generator) -> Cameras:
    """Draw cameras about standing people (B, T, 21, 3), standing heights."""
    count, device = len(joints), joints.device

    def uniform(low: float, high: float) -> Tensor:
        return low + (high - low) * torch.rand(count, generator=chance, device=device)

    def normal(spread: float) -> Tensor:
        return spread * torch.randn(count, generator=chance, device=device)

    usual = uniform(10.0, 195.0)
    anywhere = uniform(0.0, 360.0)
    azimuth = torch.deg2rad(torch.where(uniform(0.0, 1.0) < 0.2, anywhere, usual))
    distance = torch.exp(uniform(0.0, 1.0) * torch.log(torch.tensor(FARTHEST / NEAREST)))
    distance = NEAREST * distance
    height = uniform(0.0, 1.0) ** 1.5 * (HIGHEST - LOWEST) + LOWEST
    person = middle(joints[:, :still], "hip").mean(1)
    toward = torch.stack([torch.cos(azimuth), -torch.sin(azimuth)], -1)
    ground = person[:, :2] + toward * distance[:, None]
    low = joints[:, :still, :, 2].amin((1, 2))
    position = torch.cat([ground, (low + height)[:, None]], 1)
    away = -toward
    zero, one = torch.zeros_like(azimuth), torch.ones_like(azimuth)
    axes = torch.stack(
        [
            torch.stack([away[:, 1], -away[:, 0], zero], -1),
            torch.stack([away[:, 0], away[:, 1], zero], -1),
            torch.stack([zero, zero, one], -1),
        ],
        1,
    )
    pitch = torch.atan2(position[:, 2] - person[:, 2], distance) + normal(PITCH_SD)
    return Cameras(
        azimuth, position, axes, torch.stack([pitch, normal(YAW_SD), normal(ROLL_SD)], 1)
    )


def levelled(points: Tensor, cameras: Cameras) -> Tensor:
    """Points (B, T, J, 3) of the court frame in the levelled frame of their camera."""
    moved = points - cameras.position[:, None, None]
    return torch.einsum("btjc,brc->btjr", moved, cameras.axes)


def project(level: Tensor, cameras: Cameras) -> Tensor:
    """Levelled points (B, T, J, 3) in the picture, v up, focal length 1: (B, T, J, 2)."""
    pitch, yaw, roll = (cameras.look[:, i, None, None] for i in range(3))
    x, y, z = level.unbind(-1)
    x, y = x * torch.cos(yaw) - y * torch.sin(yaw), x * torch.sin(yaw) + y * torch.cos(yaw)
    depth = y * torch.cos(pitch) - z * torch.sin(pitch)
    height = y * torch.sin(pitch) + z * torch.cos(pitch)
    depth = depth.clamp_min(0.3)
    u, v = x / depth, height / depth
    return torch.stack(
        [u * torch.cos(roll) - v * torch.sin(roll), u * torch.sin(roll) + v * torch.cos(roll)], -1
    )
