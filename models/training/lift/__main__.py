"""Train the lift and write it as an ONNX file (see the package's docstring)."""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from workers.engine import lift_layout as layout

from . import bank as banks
from .films import FilmSet, read_film_set
from .generate import generate
from .judge import Batches, judged, lines
from .loss import Truth, head_units, parts, total
from .network import LiftNetwork
from .network_file import lift_file
from .reopened import reopened
from .residuals import Residuals
from .shape import CHANNELS
from .sight import TOLD, see

AVERAGE = 0.999
"""Share of the running mean of the weights that a step keeps."""
NORMAL_BATCHES = 40
JUDGE_BATCHES = 60


def drawn(
    bank: banks.Bank, count: int, chance: torch.Generator, residuals: Residuals | None = None
) -> tuple[Tensor, Truth, Tensor]:
    """Random movements seen by random cameras: features, truth, azimuth."""
    window = bank.draw(count, chance)
    seen = see(window.joints, chance, residuals, window.events)
    truth = Truth(seen.relative, seen.root, seen.heads, seen.heading, window.inside, window.events)
    return seen.features, truth, seen.azimuth


def together(
    one: tuple[Tensor, Truth, Tensor], two: tuple[Tensor, Truth, Tensor]
) -> tuple[Tensor, Truth, Tensor]:
    """Two batches as one."""
    names = ("relative", "root", "heads", "heading", "inside", "events")
    truth = Truth(*(torch.cat([getattr(one[1], n), getattr(two[1], n)]) for n in names))
    return torch.cat([one[0], two[0]]), truth, torch.cat([one[2], two[2]])


def batches(bank: banks.Bank, count: int, size: int, seed: int, told: bool) -> Batches:
    """Batches to judge by, the same for one seed."""
    chance = torch.Generator(bank.joints.device).manual_seed(seed)
    for _ in range(count):
        features, truth, azimuth = drawn(bank, size, chance)
        if not told:
            features[..., TOLD] = 0.0
        yield features, truth, azimuth


def settle_normal(net: LiftNetwork, bank: banks.Bank, size: int, chance: torch.Generator) -> None:
    """Take mean and scale of the inputs, and what is usual of the answers, from drawn batches."""
    some = [drawn(bank, size, chance)[:2] for _ in range(NORMAL_BATCHES)]
    read = torch.cat([features.flatten(0, 1) for features, _ in some])
    net.mean.copy_(read.mean(0))
    net.scale.copy_(read.std(0) + 0.02)
    heads = torch.cat([truth.heads.flatten(0, 1) for _, truth in some])
    assert net.last.bias is not None
    net.last.bias.data[layout.MEAN] = heads.nanmean(0) / head_units(heads.device)
    net.last.bias.data[layout.LOG_SD] = 1.0


class Training:
    """One run: steps until the time is over, checkpoints, judgement, the file."""

    def __init__(
        self, options: argparse.Namespace, bank: banks.Bank, films: FilmSet | None
    ) -> None:
        self.options, self.bank, self.films = options, bank, films
        self.residuals = None if films is None else films.residuals()
        torch.manual_seed(options.seed)
        self.chance = torch.Generator(options.device).manual_seed(options.seed + 1)
        self.net = LiftNetwork(options.channels).to(options.device)
        self.mean_net = LiftNetwork(options.channels).to(options.device)
        self.optimiser = torch.optim.AdamW(self.net.parameters(), lr=1e-3, weight_decay=1e-2)
        settle_normal(self.net, bank, options.batch, self.chance)
        self.step = 0
        if options.resume:
            self.net.load_state_dict(weights_of(options.resume, options.network, options.device))
        self.mean_net.load_state_dict(self.net.state_dict())

    def batch(self) -> tuple[Tensor, Truth, Tensor]:
        """One batch, part of it films if there are any."""
        size = self.options.batch
        if self.films is None:
            return drawn(self.bank, size, self.chance)
        filmed = int(size * self.options.film_share)
        return together(
            drawn(self.bank, size - filmed, self.chance, self.residuals),
            self.films.draw(filmed, self.chance),
        )

    def rate(self, share: float) -> float:
        """Learning rate after a share of the time."""
        rise = min(1.0, self.step / 300.0)
        return float(self.options.rate * rise * (0.01 + 0.99 * 0.5 * (1.0 + np.cos(np.pi * share))))

    def run(self) -> None:
        """Train until the time is over."""
        options, begun, last = self.options, time.monotonic(), 0.0
        long = options.minutes * 60.0
        if options.end_at:
            long = max(min(long, options.end_at - time.time()), 1.0)
        cuda = options.device.startswith("cuda")
        while (spent := time.monotonic() - begun) < long:
            for group in self.optimiser.param_groups:
                group["lr"] = self.rate(spent / long)
            with torch.no_grad():
                features, truth, _ = self.batch()
            with torch.autocast("cuda", dtype=torch.bfloat16, enabled=cuda):
                answer = self.net(features, truth.inside)
            found = parts(answer.float(), truth)
            loss = total(found)
            self.optimiser.zero_grad(set_to_none=True)
            torch.autograd.backward(loss)
            torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
            if bool(torch.isfinite(loss)):
                self.optimiser.step()
            self.step += 1
            keep = min(AVERAGE, 1.0 - 1.0 / (self.step + 1))
            with torch.no_grad():
                for mean, now in zip(
                    self.mean_net.parameters(), self.net.parameters(), strict=True
                ):
                    mean.lerp_(now, 1.0 - keep)
            if spent - last > options.report_s:
                last = spent
                told = " ".join(f"{name} {value.item():.3f}" for name, value in found.items())
                print(f"{spent:6.0f} s step {self.step}: {told}", flush=True)
                self.save()

    def save(self) -> None:
        """Write a checkpoint: current and averaged weights, half precision."""
        out: Path = self.options.out
        out.mkdir(parents=True, exist_ok=True)
        kept = {
            "net": _halved(self.net.state_dict()),
            "mean": _halved(self.mean_net.state_dict()),
        }
        torch.save(kept, out / "part.pt")
        (out / "part.pt").replace(out / "checkpoint.pt")

    def judge(self, name: str, given: Batches) -> None:
        """Judge the averaged network and write the records."""
        net = self.mean_net.eval()

        def run(features: Tensor, inside: Tensor) -> Tensor:
            with torch.no_grad():
                answer: Tensor = net(features, inside)
            return answer

        rows = judged(given, run)
        print(f"--- {name}", *lines(rows), sep="\n", flush=True)
        (self.options.out / f"judged-{name}.json").write_text(json.dumps(rows, indent=0))


def weights_of(path: Path, network: int, device: str) -> dict[str, Tensor]:
    """Weights to go on from: of a checkpoint, or of one network of a file that ships."""
    if path.suffix == ".onnx":
        found = reopened(path.read_bytes())[network]
        return {name: torch.from_numpy(part) for name, part in found.items()}
    kept: dict[str, dict[str, Tensor]] = torch.load(path, map_location=device)
    return kept["mean"]


def _halved(weights: dict[str, Tensor]) -> dict[str, Tensor]:
    """Weights in half precision, but for the scaling of the inputs."""
    return {n: w if n in ("mean", "scale") else w.half() for n, w in weights.items()}


def read_banks(paths: list[Path]) -> list[banks.Bank]:
    """Stored movements, from packed files or folders of truth documents."""
    return [banks.bank_of(banks.of_documents(p)) if p.is_dir() else banks.load(p) for p in paths]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m models.training lift", description=__doc__)
    parser.add_argument("--movements", type=Path, nargs="*", default=[])
    parser.add_argument("--draw", default="", help="use whose generators movements are drawn by")
    parser.add_argument("--draw-seed", type=int, default=71)
    parser.add_argument("--judge", nargs="*", default=[], help="uses to judge by, of other seeds")
    parser.add_argument("--judge-count", type=int, default=3000)
    parser.add_argument("--count", type=int, default=120_000, help="movements to draw")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--draw-minutes", type=float, default=1e9)
    parser.add_argument("--films", type=Path, nargs="*", default=[])
    parser.add_argument("--held-films", type=Path, nargs="*", default=[])
    parser.add_argument("--film-share", type=float, default=0.4)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=600.0)
    parser.add_argument("--end-at", type=float, help="end training at this time, Unix seconds")
    parser.add_argument("--wait-for", type=Path, help="read films once this file is there")
    parser.add_argument("--read-processes", type=int, default=2, help="that read films")
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--channels", type=int, default=CHANNELS)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--resume", type=Path, help="checkpoint, or file that ships, to go on from")
    parser.add_argument("--network", type=int, default=0, help="which network of that file")
    parser.add_argument("--report-s", type=float, default=20.0)
    parser.add_argument("--judge-batches", type=int, default=JUDGE_BATCHES)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    torch.backends.cuda.matmul.allow_tf32 = True
    parted = read_banks(options.movements)
    if options.draw:
        until = options.draw_minutes * 60.0
        parted.append(
            generate(options.draw, options.count, options.processes, options.draw_seed, until)
        )
    bank = banks.joined(parted).to(options.device)
    print(f"{len(bank)} movements to learn from", flush=True)
    films = None
    while options.wait_for and not options.wait_for.exists():
        time.sleep(0.5)
    if options.films:
        films = read_film_set(options.films, options.device, options.read_processes)
    print(f"{0 if films is None else len(films)} films to learn from", flush=True)
    training = Training(options, bank, films)
    training.run()
    training.save()
    weights = {name: part.cpu().numpy() for name, part in training.mean_net.state_dict().items()}
    options.out.joinpath("lift.onnx").write_bytes(lift_file(weights))
    size, count = options.batch, options.judge_batches
    for use in options.judge:
        some = generate(use, options.judge_count, options.processes, options.draw_seed + 1, 40.0)
        some = some.to(options.device)
        for told in (False, True):
            name = f"{use}{'-told' if told else ''}"
            training.judge(name, batches(some, count, size, 5, told=told))
    if options.held_films:
        filmed = read_film_set(options.held_films, options.device, options.read_processes)
        if filmed is not None:
            training.judge("held-films", filmed.every(size))


if __name__ == "__main__":
    main()
