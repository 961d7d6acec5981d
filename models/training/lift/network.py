"""The network of the lift: dilated convolutions over time, and what the whole film says.

About a second to either side is seen by the convolutions; twice the mean over the film is handed
to every frame, since person, camera and direction of the target are the same in all.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

from workers.engine.lift_input import WIDTH
from workers.engine.lift_layout import ANSWERS

from .shape import CHANNELS, DILATIONS, EPSILON, FARTHEST, POOLED


class Normal(nn.Module):
    """Layer normalisation over channels of (B, C, T), with a gain."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.gain = nn.Parameter(torch.ones(channels))

    def forward(self, x: Tensor) -> Tensor:
        """Return x centred and scaled over its channels."""
        x = x - x.mean(1, keepdim=True)
        return x * torch.rsqrt(x.square().mean(1, keepdim=True) + EPSILON) * self.gain[:, None]


class Block(nn.Module):
    """Residual block: normalise, SiLU, dilated convolution, SiLU, mix."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.normal = Normal(channels)
        self.wide = nn.Conv1d(channels, channels, 3, padding=dilation, dilation=dilation)
        self.mix = nn.Conv1d(channels, channels, 1)
        self.mix.weight.data.zero_()

    def forward(self, x: Tensor) -> Tensor:
        """Return x and what this block adds."""
        inner = self.wide(nn.functional.silu(self.normal(x)))
        more: Tensor = self.mix(nn.functional.silu(inner))
        return x + more


class LiftNetwork(nn.Module):
    """Features (B, T, WIDTH) to answers (B, T, ANSWERS)."""

    def __init__(self, channels: int = CHANNELS) -> None:
        super().__init__()
        self.mean: Tensor
        self.scale: Tensor
        self.register_buffer("mean", torch.zeros(WIDTH))
        self.register_buffer("scale", torch.ones(WIDTH))
        self.stem = nn.Conv1d(WIDTH, channels, 1)
        self.blocks = nn.ModuleList(Block(channels, d) for d in DILATIONS)
        self.pools = nn.ModuleList(nn.Conv1d(channels, channels, 1) for _ in POOLED)
        self.normal = Normal(channels)
        self.hidden = nn.Conv1d(channels, channels, 1)
        self.last = nn.Conv1d(channels, ANSWERS, 1)
        self.last.weight.data.zero_()

    def forward(self, features: Tensor, inside: Tensor | None = None) -> Tensor:
        """Return the answers; ``inside`` (B, T) marks the frames that are part of the film."""
        x = ((features - self.mean) / self.scale).clamp(-FARTHEST, FARTHEST).transpose(1, 2)
        mask = None if inside is None else inside[:, None].to(x.dtype)
        x = self.stem(x)
        pools = iter(self.pools)
        for i, block in enumerate(self.blocks):
            x = block(x if mask is None else x * mask)
            if i in POOLED:
                x = x + next(pools)(self._film(x, mask))
        x = nn.functional.silu(self.hidden(nn.functional.silu(self.normal(x))))
        answer: Tensor = self.last(x)
        return answer.transpose(1, 2)

    @staticmethod
    def _film(x: Tensor, mask: Tensor | None) -> Tensor:
        if mask is None:
            return nn.functional.silu(x.mean(2, keepdim=True))
        total = (x * mask).sum(2, keepdim=True)
        return nn.functional.silu(total / mask.sum(2, keepdim=True).clamp_min(1.0))
