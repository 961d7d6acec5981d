"""Train the lift and write its weights as a module (see the package's docstring)."""

from __future__ import annotations

import argparse
import base64
import zlib
from pathlib import Path

import numpy as np
import torch
from torch import nn

from .data import Array, filmed, read_motion, synthetic

HEAD = '''"""Weights of the learned lift, half precision, as text. Generated, not edited."""

# ruff: noqa: E501
from __future__ import annotations

import base64
import zlib

import numpy as np

from models.contract.tracks import FloatArray


def _read(text: str, *shape: int) -> FloatArray:
    data = zlib.decompress(base64.b64decode(text))
    return np.frombuffer(data, dtype=np.float16).reshape(shape).astype(np.float64)


'''


def text_of(array: Array) -> str:
    """An array as compressed half-precision text."""
    data = zlib.compress(np.asarray(array, np.float16).tobytes(), 9)
    return base64.b64encode(data).decode()


def module_text(net: nn.Sequential, mean: Array, scale: Array) -> str:
    """Source of ``workers/serve/lift_weights.py``."""
    lines = [f'MEAN: FloatArray = _read("{text_of(mean)}", {mean.size})']
    lines.append(f'SCALE: FloatArray = _read("{text_of(scale)}", {scale.size})')
    lines.append("LAYERS: tuple[tuple[FloatArray, FloatArray], ...] = (")
    for layer in net:
        if isinstance(layer, nn.Linear):
            weight = layer.weight.detach().numpy().T
            bias = layer.bias.detach().numpy()
            lines.append(
                f'    (_read("{text_of(weight)}", {weight.shape[0]}, {weight.shape[1]}), '
                f'_read("{text_of(bias)}", {bias.size})),'
            )
    return HEAD + "\n".join([*lines, ")", ""])


def examples(folder: Path, cameras: int, seed: int) -> tuple[Array, Array]:
    """Every second frame of every motion, seen by some random cameras."""
    rng = np.random.default_rng(seed)
    pairs = []
    for path in sorted(folder.glob("*.json")):
        motion = read_motion(path)
        for _ in range(cameras if motion else 0):
            assert motion is not None
            pairs.append([part[rng.integers(2) :: 2] for part in synthetic(*motion, rng)])
    pairs = [[a[: min(len(a), len(b))], b[: min(len(a), len(b))]] for a, b in pairs]
    x, y = (np.concatenate([p[i] for p in pairs]).astype(np.float32) for i in (0, 1))
    return x, y


def films(folder: Path, tracks: Path) -> list[tuple[Array, Array]]:
    """Films that are not held out."""
    found = []
    for truth in sorted(folder.glob("[0-9]*.json")):
        tracked = sorted(tracks.glob(f"{truth.stem}*.npz"))
        if int(truth.stem) % 3 == 2 or not tracked:
            continue
        pair = filmed(truth, tracked[0])
        if pair is not None:
            found.append(pair)
    return found


def loss_of(found: torch.Tensor, true: torch.Tensor) -> torch.Tensor:
    """Joints count most; the direction of the target a little."""
    place = nn.functional.smooth_l1_loss(found[:, :63], true[:, :63], beta=0.01) * 20
    return place + 0.3 * nn.functional.mse_loss(found[:, 63:], true[:, 63:])


def train(x: Array, y: Array, epochs: int) -> tuple[nn.Sequential, Array, Array]:
    """Fit the network; returns it with the mean and scale of its inputs."""
    torch.manual_seed(0)
    mean, scale = x.mean(0), x.std(0) + 1e-3
    inputs, outputs = torch.from_numpy((x - mean) / scale), torch.from_numpy(y)
    net = nn.Sequential(
        nn.Linear(x.shape[1], 192), nn.SiLU(), nn.Linear(192, 128), nn.SiLU(), nn.Linear(128, 65)
    )
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=1e-3)
    batches = max(len(x) // 512, 1)
    plan = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, 2e-3, total_steps=epochs * batches, pct_start=0.05
    )
    for epoch in range(epochs):
        order = torch.randperm(len(x))
        for chosen in order.split(512)[:batches]:
            optimiser.zero_grad()
            noisy = inputs[chosen] + 0.02 * torch.randn(len(chosen), x.shape[1])
            loss = loss_of(net(noisy), outputs[chosen])
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            plan.step()
        print(f"epoch {epoch + 1}: {loss.item():.4f}", flush=True)
    return net, mean, scale


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.lift", description=__doc__)
    parser.add_argument("motions", type=Path)
    parser.add_argument("--films", type=Path)
    parser.add_argument("--tracks", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--cameras", type=int, default=7)
    parser.add_argument("--epochs", type=int, default=20)
    options = parser.parse_args()
    x, y = examples(options.motions, options.cameras, 2)
    if options.films and options.tracks:
        real = films(options.films, options.tracks)
        repeat = max(1, int(0.25 * len(x) / max(sum(len(p[0]) for p in real), 1)))
        x = np.concatenate([x, *[p[0].astype(np.float32) for p in real] * repeat])
        y = np.concatenate([y, *[p[1].astype(np.float32) for p in real] * repeat])
    options.out.write_text(module_text(*train(x, y, options.epochs)), "utf-8")


main()
