"""Train the lift and write it as an ONNX file (see the package's docstring)."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from torch import nn

from workers.engine.lift import features

from .films import Filmed, read_films
from .judge import judge_lines
from .network_error import NetworkError, learn
from .network_file import lift_file
from .scene import Array, answer, observe, random_scene, read_json, read_motion

HIDDEN = (256, 160)
FILM_SHARE = 0.3


def network_bytes(net: nn.Sequential, mean: Array, scale: Array) -> bytes:
    """The trained network as the ONNX file that the engine is given."""
    layers = [
        (layer.weight.detach().numpy().T, layer.bias.detach().numpy())
        for layer in net
        if isinstance(layer, nn.Linear)
    ]
    return lift_file(mean, scale, layers)


def synthetic(folder: Path, error: NetworkError, cameras: int, seed: int) -> tuple[Array, Array]:
    """Every second frame of every motion, as the pose networks would see it by random cameras."""
    rng = np.random.default_rng(seed)
    xs, ys = [], []
    for path in sorted(folder.glob("*.json")):
        motion = read_motion(read_json(path))
        for _ in range(cameras if motion else 0):
            assert motion is not None
            begin = motion.start_s - rng.uniform(0.1, 0.45)
            rows = motion.time_s >= begin
            scene = random_scene(motion.joints, rng)
            ideal = observe(motion.joints[rows], motion.stature_m, scene)
            plane, world = error.see(ideal, motion.stature_m, rng)
            read, place = features(motion.time_s[rows], plane, world)
            until = motion.events - motion.time_s[rows][:, None]
            chosen = slice(int(rng.integers(2)), None, 2)
            xs.append(read[chosen].astype(np.float32))
            ys.append(answer(ideal, motion.stature_m, place, until)[chosen].astype(np.float32))
    return np.concatenate(xs), np.concatenate(ys)


def filmed(films: Sequence[Filmed]) -> tuple[Array, Array]:
    """The films' own frames."""
    pairs = [film.example() for film in films]
    x, y = (np.concatenate([pair[i] for pair in pairs]).astype(np.float32) for i in (0, 1))
    return x, y


def loss_of(found: torch.Tensor, true: torch.Tensor) -> torch.Tensor:
    """Joints count most; the direction of the target and the times of events a little."""
    place = nn.functional.smooth_l1_loss(found[:, :63], true[:, :63], beta=0.01) * 20
    target = nn.functional.mse_loss(found[:, 63:65], true[:, 63:65])
    clocks = nn.functional.smooth_l1_loss(found[:, 65:], true[:, 65:], beta=0.05)
    return place + 0.3 * target + 0.1 * clocks


def train(
    drawn: tuple[Array, Array], films: tuple[Array, Array], epochs: int, seed: int = 0
) -> tuple[nn.Sequential, Array, Array]:
    """Fit the network; returns it with the mean and scale of its inputs."""
    torch.manual_seed(seed)
    x = np.concatenate([drawn[0], films[0]])
    mean, scale = x.mean(0), x.std(0) + 1e-3
    inputs = torch.from_numpy((x - mean) / scale)
    outputs = torch.from_numpy(np.concatenate([drawn[1], films[1]]))
    first, size = len(drawn[0]), len(films[0])
    share = torch.full((len(x),), (1 - FILM_SHARE) / first)
    share[first:] = FILM_SHARE / size
    net = nn.Sequential(
        nn.Linear(x.shape[1], HIDDEN[0]),
        nn.SiLU(),
        nn.Linear(*HIDDEN),
        nn.SiLU(),
        nn.Linear(HIDDEN[1], outputs.shape[1]),
    )
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=2e-3)
    batches = first // 512
    plan = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, 2e-3, total_steps=epochs * batches, pct_start=0.05
    )
    for epoch in range(epochs):
        for chosen in torch.multinomial(share, batches * 512, replacement=True).split(512):
            optimiser.zero_grad()
            noisy = inputs[chosen] + 0.03 * torch.randn(len(chosen), x.shape[1])
            loss = loss_of(net(noisy), outputs[chosen])
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            plan.step()
        print(f"epoch {epoch + 1}: {loss.item():.4f}", flush=True)
    return net, mean, scale


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m models.training.lift", description=__doc__)
    parser.add_argument("motions", type=Path)
    parser.add_argument("--films", type=Path, required=True)
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--cameras", type=int, default=10)
    parser.add_argument("--epochs", type=int, default=24)
    parser.add_argument("--held-out", type=int, default=6, help="judge on every n-th film; 0 none")
    options = parser.parse_args()
    films = list(read_films(options.films, options.tracks))
    every = options.held_out
    held = [film for i, film in enumerate(films) if every and i % every == every - 1]
    used = [film for film in films if film not in held]
    print(f"{len(used)} films to learn from, {len(held)} to judge by", flush=True)
    drawn = synthetic(options.motions, learn(used), options.cameras, 2)
    print(f"{len(drawn[0])} drawn frames", flush=True)
    net, mean, scale = train(drawn, filmed(used), options.epochs)
    options.out.write_bytes(network_bytes(net, mean, scale))

    def run(read: Array) -> Array:
        with torch.no_grad():
            inputs = torch.from_numpy(((read - mean) / scale).astype(np.float32))
            return np.asarray(net(inputs).numpy(), np.float64)

    print("\n".join(judge_lines(held, run)))


main()
