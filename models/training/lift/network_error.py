"""How the pose networks err, learned from rendered films, so that any motion can be seen by them.

A small network predicts the pose networks' error from the posture as the camera has it; what it
cannot predict is drawn from covariances: one part a film keeps, one part that changes in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from torch import nn

from models.contract.skeleton import CANONICAL_BODY
from workers.engine.lift import EAR_TO_ANKLE

from .films import Filmed
from .scene import FPS, HIPS, JOINTS, Array, Ideal, pose_of

EARS = CANONICAL_BODY.pair("ear")
ANKLES = CANONICAL_BODY.pair("ankle")
FOLDS = 4


def standing_scale(time_s: Array, points: Array) -> float:
    """Standing height in the units of the points, from the first third of a second."""
    still = time_s <= time_s[0] + 0.35
    height = points[still][:, EARS, -1].mean(1) - points[still][:, ANKLES, -1].mean(1)
    return float(np.median(height)) / EAR_TO_ANKLE


def errors_of(film: Filmed) -> Array:
    """Error of the picture's joints in standing heights (42), and the network's own 3D (63)."""
    tall = standing_scale(film.time_s, film.ideal_px)
    plane = (film.plane - film.ideal_px) / tall
    space = film.world / max(standing_scale(film.time_s, film.world), 1e-6)
    space = space - space[:, HIPS].mean(1, keepdims=True)
    return np.concatenate([plane.reshape(len(plane), -1), space.reshape(len(space), -1)], axis=1)


@dataclass(frozen=True)
class NetworkError:
    """The error model; `see` draws one film's worth of what the networks would say."""

    nets: tuple[nn.Module, ...]
    mean: Array
    scale: Array
    kept: Array  # Cholesky factor of the part a film keeps
    moving: Array  # of the part that changes in time
    memory: float  # correlation from frame to frame at 60 Hz

    def see(self, ideal: Ideal, stature: float, rng: np.random.Generator) -> tuple[Array, Array]:
        """Joints of the picture (T, 21, 2) and 3D (T, 21, 3), both in standing heights."""
        pose = pose_of(ideal, stature)
        predicted = predict(self.nets[int(rng.integers(len(self.nets)))], self.normal(pose))
        width = predicted.shape[1]
        noise = rng.normal(size=(len(pose), width)) @ self.moving.T
        for i in range(1, len(noise)):
            noise[i] = self.memory * noise[i - 1] + np.sqrt(1 - self.memory**2) * noise[i]
        drawn = predicted + noise + self.kept @ rng.normal(size=width)
        plane = ideal.plane + drawn[:, : 2 * JOINTS].reshape(-1, JOINTS, 2)
        return plane, drawn[:, 2 * JOINTS :].reshape(-1, JOINTS, 3)

    def normal(self, pose: Array) -> Array:
        """Inputs of the networks."""
        return (pose - self.mean) / self.scale


def predict(net: nn.Module, inputs: Array) -> Array:
    """Run a network on arrays."""
    with torch.no_grad():
        return np.asarray(net(torch.from_numpy(inputs.astype(np.float32))).numpy(), np.float64)


def learn(films: Sequence[Filmed], epochs: int = 40) -> NetworkError:
    """Fit the model; what is left over is measured on films each network did not see."""
    poses = [pose_of(film.ideal, film.stature_m) for film in films]
    errors = [errors_of(film) for film in films]
    together = np.concatenate(poses)
    mean, scale = together.mean(0), together.std(0) + 0.02
    nets, left = [], []
    for fold in range(FOLDS):
        seen = [i for i in range(len(films)) if i % FOLDS != fold]
        x = np.concatenate([(poses[i] - mean) / scale for i in seen])
        net = _train(x, np.concatenate([errors[i] for i in seen]), epochs)
        nets.append(net)
        for i in range(fold, len(films), FOLDS):
            left.append((i, errors[i] - predict(net, (poses[i] - mean) / scale)))
    middles = np.stack([np.median(rest, axis=0) for _, rest in left])
    moving = np.concatenate([rest - np.median(rest, axis=0) for _, rest in left])
    memory = float(np.median([_memory(rest, films[i].time_s) for i, rest in left]))
    print(f"left over, film to film {middles.std():.4f}, in time {moving.std():.4f}, {memory:.2f}")
    return NetworkError(tuple(nets), mean, scale, _factor(middles), _factor(moving), memory)


def _factor(rows: Array) -> Array:
    """Cholesky factor of a covariance, shrunk to its diagonal where there are few rows."""
    covariance = rows.T @ rows / len(rows)
    share = min(1.0, rows.shape[1] / (4.0 * len(rows)) + 0.05)
    shrunk = (1 - share) * covariance + share * np.diag(np.diag(covariance))
    return np.asarray(np.linalg.cholesky(shrunk + 1e-10 * np.eye(len(shrunk))))


def _memory(rest: Array, time_s: Array) -> float:
    """Correlation from one frame to the next, brought to 60 Hz."""
    moving = rest - np.median(rest, axis=0)
    lag = float((moving[1:] * moving[:-1]).sum() / max((moving**2).sum(), 1e-12))
    step = float(np.median(np.diff(time_s)))
    return float(np.clip(max(lag, 1e-3) ** (1.0 / FPS / step), 0.0, 0.98))


def _train(x: Array, y: Array, epochs: int) -> nn.Module:
    torch.manual_seed(1)
    net = nn.Sequential(nn.Linear(x.shape[1], 96), nn.SiLU(), nn.Linear(96, y.shape[1]))
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=0.02)
    inputs = torch.from_numpy(x.astype(np.float32))
    outputs = torch.from_numpy(y.astype(np.float32))
    for _ in range(epochs):
        for chosen in torch.randperm(len(x)).split(256):
            optimiser.zero_grad()
            noisy = inputs[chosen] + 0.1 * torch.randn(len(chosen), x.shape[1])
            loss = nn.functional.smooth_l1_loss(net(noisy), outputs[chosen], beta=0.02)
            (loss * 20).backward()
            optimiser.step()
    return net.eval()
