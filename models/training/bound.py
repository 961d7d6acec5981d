"""What any estimator can know of a serve from landmarks with the errors that were measured.

``python -m models.training bound --use report --out infra/accuracy/bounds.json``: movements of a
generator are seen by perspective cameras of one position whose azimuth is known to four degrees;
the joints of the body at six instants carry an error of the size measured on a real person, half
of its variance alike at all instants, as a constant landmark bias is. A dense network learns the
posterior mean of every quantity from them, knowing the movements' own spread; on movements it did
not see its squared correlation with the truth and its mean absolute error are the bound.

The bound is told when the events are and where joint centres would be without error. Errors are
independent between landmarks; real ones are not, which can be better or worse. With ``--films
PACKS`` errors have the sizes of those films' landmarks, each movement those of one film.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Generator, Tensor, nn

from models.contract.metrics.definition import metric_name
from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.skeleton import part_of
from models.contract.vocabulary import EventName
from models.training.film_errors import sizes_of
from models.training.lift import cameras as cam
from models.training.lift.bank import Bank
from models.training.lift.generate import generate
from models.training.lift.judge import JUDGED, position
from models.training.lift.targets import heads_of, middle
from workers.engine.heads import METRIC_OF_HEAD
from workers.engine.lift import TIMED
from workers.engine.lift_layout import HEADS

SIGMA = {
    "hip": 0.0155,
    "shoulder": 0.0135,
    "knee": 0.0115,
    "ankle": 0.0105,
    "elbow": 0.0120,
    "wrist": 0.0110,
    "heel": 0.0130,
    "toe": 0.0130,
}
"""Error of a landmark, each axis, standing heights: root mean square in the picture over root two
of a man with known joint centres in four laboratory films (hip 2.2, shoulder 1.9, knee 1.6, ankle
1.5 percent of stature); arms and feet by analogy."""
HEAD_SIGMA = 0.010
SHARED = 0.5
"""Share of an error's variance that all instants of a film have in common."""
AZIMUTH_SD = float(np.radians(4.0))


@dataclass(frozen=True)
class Errors:
    """Sizes of landmark errors, (F, 21), a row a film, and the share that a film has in common."""

    sizes: Tensor
    shared: float = SHARED

    def lend(self, count: int, chance: Generator) -> Tensor:
        """Sizes for so many films, (B, 21)."""
        device = self.sizes.device
        rows = torch.randint(len(self.sizes), (count,), generator=chance, device=device)
        return self.sizes[rows]


def of_a_real_person(device: str) -> Errors:
    """What `SIGMA` says."""
    return Errors(torch.tensor([[SIGMA.get(part_of(n), HEAD_SIGMA) for n in BODY]], device=device))


@dataclass(frozen=True)
class Span:
    """Azimuths of a camera, degrees, and how far apart a second one stands, if there is one."""

    first: tuple[float, float]
    apart: tuple[float, float] | None = None


POSITIONS_DEG = {
    "front_quarter": Span((35.0, 70.0)),
    "side": Span((75.0, 105.0)),
    "rear_quarter": Span((112.0, 160.0)),
    "behind": Span((166.0, 180.0)),
}
TWO_DEG = {"two_views": Span((20.0, 165.0), (40.0, 120.0))}
"""Two films of one serve, as `models.training.views.pairs` draws them, their instants known to be
the same."""
AFTER_S = 0.1
STILL = 22
WIDTH, LAYERS = 512, 3
UNSEEN = 0.1


def instants(bank: Bank, rows: Tensor) -> tuple[Tensor, Tensor]:
    """Rows of set-up, the timed events and shortly after contact, (B, 6), and which are whole."""
    events = bank.events[rows]
    after = events[:, -1:] + AFTER_S * 60.0
    start = (bank.start[rows, None] - 6).clamp_min(0).float()
    places = torch.cat([start, events, after], 1)
    whole = torch.isfinite(places).all(1) & (places[:, -1] < bank.length[rows] - 1)
    return torch.nan_to_num(places), whole


def azimuths(count: int, span: Span, chance: Generator, device: torch.device) -> list[Tensor]:
    """Azimuths (B,) of one camera, rad, or of two that stand some degrees apart."""

    def between(low: float, high: float) -> Tensor:
        turn = torch.rand(count, generator=chance, device=device)
        return torch.deg2rad(low + (high - low) * turn)

    if span.apart is None:
        return [between(*span.first)]
    first, apart = between(*span.first), between(*span.apart)
    side = torch.where(torch.rand(count, generator=chance, device=device) < 0.5, -1.0, 1.0)
    return [first, first + side * apart]


def seen(joints: Tensor, azimuth: Tensor, errors: Errors, chance: Generator) -> Tensor:
    """Joints (B, K, 21, 3) from azimuths (B,) with errors, and the azimuth as told: (B, F)."""
    count, moments = joints.shape[:2]
    device = joints.device
    base = cam.draw(joints, 1, chance)
    distance = torch.linalg.norm(base.position[:, :2] - middle(joints[:, 0], "hip")[:, :2], dim=1)
    toward = torch.stack([azimuth.cos(), -azimuth.sin()], 1)
    place = middle(joints[:, 0], "hip")[:, :2] + toward * distance[:, None]
    zero, one = torch.zeros_like(azimuth), torch.ones_like(azimuth)
    axes = torch.stack(
        [
            torch.stack([-toward[:, 1], toward[:, 0], zero], 1),
            torch.stack([-toward[:, 0], -toward[:, 1], zero], 1),
            torch.stack([zero, zero, one], 1),
        ],
        1,
    )
    there = cam.Cameras(azimuth, torch.cat([place, base.position[:, 2:]], 1), axes, base.look)
    level = cam.levelled(joints, there)
    picture = cam.project(level, there) * level[:, :1, :, 1].mean(2)[:, :, None, None]
    sigma = errors.lend(count, chance)[:, None, :, None]
    shape = (count, moments, len(BODY), 2)
    shared = torch.randn((count, 1, *shape[2:]), generator=chance, device=device)
    own = torch.randn(shape, generator=chance, device=device)
    error = (errors.shared**0.5 * shared + (1 - errors.shared) ** 0.5 * own) * sigma
    told = azimuth + AZIMUTH_SD * torch.randn(count, generator=chance, device=device)
    flat = (picture + error - picture[:, :1].mean(2, keepdim=True)).flatten(1)
    return torch.cat([flat, told.sin()[:, None], told.cos()[:, None]], 1)


def examples(
    bank: Bank, views: int, span: Span, errors: Errors, seed: int
) -> tuple[Tensor, Tensor]:
    """Every whole movement, seen ``views`` times: features (M, F) and quantities (M, Q)."""
    chance = torch.Generator(bank.joints.device).manual_seed(seed)
    read, true = [], []
    names = [event.value for event in TIMED]
    for _ in range(views):
        for part in torch.split(torch.arange(len(bank), device=bank.joints.device), 2048):
            places, whole = instants(bank, part)
            rows, places = part[whole], places[whole].round().long()
            joints = bank.joints[rows].float()
            heads = heads_of(joints, STILL)
            chosen = joints[torch.arange(len(rows), device=rows.device)[:, None], places]
            cameras = azimuths(len(rows), span, chance, rows.device)
            read.append(torch.cat([seen(chosen, one, errors, chance) for one in cameras], 1))
            at = [
                heads[
                    torch.arange(len(rows), device=rows.device),
                    places[:, 1 + names.index(event)],
                    HEADS.index(head),
                ]
                for head, event in JUDGED
            ]
            true.append(torch.stack(at, 1))
    return torch.cat(read), torch.cat(true)


def learn(read: Tensor, true: Tensor, epochs: int) -> nn.Module:
    """Fit the posterior mean."""
    torch.manual_seed(3)
    layers: list[nn.Module] = [nn.Linear(read.shape[1], WIDTH), nn.SiLU()]
    for _ in range(LAYERS):
        layers += [nn.Linear(WIDTH, WIDTH), nn.SiLU()]
    net = nn.Sequential(*layers, nn.Linear(WIDTH, true.shape[1])).to(read.device)
    optimiser = torch.optim.AdamW(net.parameters(), 1e-3, weight_decay=1e-4)
    size = 2048
    steps = epochs * (len(read) // size)
    plan = torch.optim.lr_scheduler.OneCycleLR(optimiser, 2e-3, max(steps, 2))
    for _ in range(epochs):
        for rows in torch.split(torch.randperm(len(read), device=read.device), size):
            if len(rows) < size and len(read) >= size:
                continue
            loss = nn.functional.mse_loss(net(read[rows]), true[rows])
            optimiser.zero_grad()
            torch.autograd.backward(loss)
            optimiser.step()
            plan.step()
    return net


def bounds(
    bank: Bank, views: int, epochs: int, positions: Mapping[str, Span], errors: Errors
) -> list[dict[str, Any]]:
    """One record a quantity and position: r2, mae, and the mae of always answering the mean."""
    rows: list[dict[str, Any]] = []
    cut = int(len(bank) * (1.0 - UNSEEN))
    known, unseen = bank.part(slice(0, cut)), bank.part(slice(cut, len(bank)))
    for name, span in positions.items():
        assert span.apart is not None or position(sum(span.first) / 2) == name
        read, true = examples(known, views, span, errors, 1)
        new, wanted = examples(unseen, 2, span, errors, 2)
        mean, scale = read.mean(0), read.std(0) + 1e-6
        middle_, spread = true.mean(0), true.std(0) + 1e-6
        net = learn((read - mean) / scale, (true - middle_) / spread, epochs)
        with torch.no_grad():
            told = (net((new - mean) / scale) * spread + middle_).cpu().numpy()
        truth = wanted.cpu().numpy()
        for i, (head, event) in enumerate(JUDGED):
            if head not in METRIC_OF_HEAD:
                continue
            a, b = truth[:, i], told[:, i]
            rows.append(
                {
                    "metric": metric_name(METRIC_OF_HEAD[head], EventName(event)),
                    "view": name,
                    "r2": round(float(np.corrcoef(a, b)[0, 1] ** 2), 3),
                    "mae": float(f"{np.abs(a - b).mean():.3g}"),
                    "blind": float(f"{np.abs(a - a.mean()).mean():.3g}"),
                    "n": len(a),
                }
            )
        print(f"{name}: {len(read)} seen, {len(new)} unseen", flush=True)
    return rows


def usual_sizes(errors: Errors) -> dict[str, float]:
    """The median film's size of each part's error, standing heights."""
    usual = errors.sizes.median(0).values
    parts: dict[str, list[float]] = {}
    for name, size in zip(BODY, usual.tolist(), strict=True):
        parts.setdefault(part_of(name), []).append(size)
    return {part: round(float(np.mean(mine)), 4) for part, mine in parts.items()}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m models.training bound", description=__doc__)
    parser.add_argument("--use", default="report", help="whose movements the bound holds for")
    parser.add_argument("--seed", type=int, default=81)
    parser.add_argument("--count", type=int, default=40_000)
    parser.add_argument("--views", type=int, default=8, help="cameras a movement")
    parser.add_argument("--epochs", type=int, default=30)
    parser.add_argument("--two", action="store_true", help="of two films of one serve")
    parser.add_argument("--films", type=Path, nargs="*", default=[], help="packs: their errors")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--draw-minutes", type=float, default=1e9)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    until = options.draw_minutes * 60.0
    bank = generate(options.use, options.count, options.processes, options.seed, until)
    positions = TWO_DEG if options.two else POSITIONS_DEG
    errors = of_a_real_person(device)
    if options.films:
        sizes, shared = sizes_of(options.films)
        errors = Errors(torch.tensor(sizes, dtype=torch.float32, device=device), shared)
    rows = bounds(bank.to(device), options.views, options.epochs, positions, errors)
    about = {
        "made_by": f"python -m models.training bound --use {options.use} --seed {options.seed} "
        f"--count {options.count} --views {options.views} --epochs {options.epochs}"
        + (" --two" if options.two else "")
        + (f" --films, {len(errors.sizes)} of serves" if options.films else ""),
        "movements": len(bank),
        "sigma": SIGMA if not options.films else usual_sizes(errors),
        "bounds": rows,
    }
    text = json.dumps(about, indent=0)
    part = options.out.with_suffix(".part")
    part.write_text(text + "\n", "utf-8")
    part.replace(options.out)
    print(text)


if __name__ == "__main__":
    main()
