"""Errors of the pose networks as rendered films show them, lent to other movements.

A movement that was only drawn takes the errors of a film from about the same place, its contact
laid over the film's, so that both networks, their confidences and their own 3D err together and in
time as they really do.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Generator, Tensor

from models.contract.skeleton import CANONICAL_BODY as BODY

from .bank import TIMED_CONTACT

JOINTS = len(BODY)
WIDTHS = (2 * JOINTS, 2 * JOINTS, JOINTS, JOINTS, 3 * JOINTS)
"""Columns: both networks' errors in the picture, their confidences, error of the own 3D."""
CANDIDATES = 8
"""Films among which the one from the nearest place is taken."""


@dataclass(frozen=True)
class Residuals:
    """Errors (N, T, sum of WIDTHS), azimuth (N,) rad, contact (N,) rows, length (N,) frames."""

    astray: Tensor
    azimuth: Tensor
    contact: Tensor
    length: Tensor

    def lend(self, azimuth: Tensor, events: Tensor, frames: int, chance: Generator) -> Tensor:
        """Errors for movements seen from some azimuths, (B, frames, sum of WIDTHS)."""
        device, count = azimuth.device, len(azimuth)
        shape = (count, CANDIDATES)
        drawn = torch.randint(len(self.astray), shape, generator=chance, device=device)
        away = torch.cos(self.azimuth[drawn] - azimuth[:, None])
        chosen = drawn.gather(1, away.argmax(1, keepdim=True))[:, 0]
        shift = self.contact[chosen] - events[:, TIMED_CONTACT]
        shift = torch.nan_to_num(shift).round().long()
        rows = torch.arange(frames, device=device)[None] + shift[:, None]
        last = self.length[chosen][:, None] - 1
        rows = torch.minimum(rows.clamp_min(0), last)
        return self.astray[chosen[:, None], rows].float()
