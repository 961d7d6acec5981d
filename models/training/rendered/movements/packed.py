"""Very many movements in few files: joint centres as half floats, events, metrics.

``python -m models.training.rendered.movements.packed --use train --seed 1 --count 100000
--processes 8 --out DIR`` needs numpy and scipy only. A file holds up to 500 movements and is
written whole or not at all; files that exist are kept, so an interrupted run goes on.

Layout of ``NNNNNN.npz`` (index of its first movement): ``joints`` (F, 21, 3) float16, metres from
the mid-hip, the joints of `truth.JOINTS` but the last two, of a right-handed body in the court
frame (a left-hander's is mirrored); ``hips`` (F, 3) float32; ``offsets`` (N + 1) first frame of
each movement, 60 frames a second from time 0; ``events`` (N, 8) seconds, `quick_truth.EVENTS`;
``values`` (N, 8, M) `quick_truth.METRICS` at the events; ``stature_m``, ``gender``,
``left_handed``, ``kind``, ``generator`` (N); ``names`` of events and metrics.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from models.training.rendered.performance import Performance
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import sample_skeleton
from models.training.rendered.truth import JOINTS, point_of

from . import USES, draw_kind, generate, random_of
from .grid_motion import GridMotion
from .quick_truth import EVENTS, METRICS, quick_events, values_at

FPS = 60.0
EACH = 500
PACKED_JOINTS = JOINTS[:21]


def joints_at_60(performance: Performance) -> Array:
    """Joints (T, 21, 3) of the right-handed body, 60 a second from time 0."""
    motion = performance.motion
    if isinstance(motion, GridMotion):
        wanted = (motion.grid > -1e-6) & (motion.grid < performance.duration)
        body = motion.on_grid()
        return np.stack([point_of(body, j)[wanted] for j in PACKED_JOINTS], axis=1)
    body = motion.body(np.arange(0.0, performance.duration, 1.0 / FPS))
    return np.stack([point_of(body, j) for j in PACKED_JOINTS], axis=1)


def generator_drawn(use: str, seed: int, index: int) -> str:
    """What draws a `movement`."""
    names = USES[use]
    return names[int(random_of(use, seed, index).integers(len(names)))]


def movement(use: str, seed: int, index: int) -> tuple[Performance, str, str]:
    """One movement of a use, its generator and kind; depends on these three alone."""
    rng = random_of(use, seed, index)
    names = USES[use]
    name = names[int(rng.integers(len(names)))]
    kind = draw_kind(rng)
    return generate(name, sample_skeleton(rng), rng, kind), name, kind


def pack(use: str, seed: int, first: int, count: int) -> dict[str, Any]:
    """`count` movements from the index `first`, as the arrays of the module's text."""
    joints, hips, rows = [], [], []
    for index in range(first, first + count):
        performance, name, kind = movement(use, seed, index)
        points = joints_at_60(performance)
        middle = points[:, [11, 12]].mean(axis=1)
        joints.append((points - middle[:, None]).astype(np.float16))
        hips.append(middle.astype(np.float32))
        events = quick_events(performance)
        body = performance.motion.skeleton
        rows.append(
            (
                events,
                values_at(performance, events).astype(np.float32),
                body.height,
                body.gender,
                performance.left_handed,
                kind,
                name,
            )
        )
    columns = list(zip(*rows, strict=True))
    keys = ("events", "values", "stature_m", "gender", "left_handed", "kind", "generator")
    out: dict[str, Any] = {k: np.array(c) for k, c in zip(keys, columns, strict=True)}
    out |= {"joints": np.concatenate(joints), "hips": np.concatenate(hips)}
    out["offsets"] = np.concatenate([[0], np.cumsum([len(j) for j in joints])])
    return out | {"event_names": np.array(EVENTS), "metric_names": np.array(METRICS)}


def write(use: str, seed: int, first: int, count: int, folder: Path) -> Path:
    """Write one file unless it is there."""
    path = folder / f"{first:07d}.npz"
    if not path.exists():
        part = path.with_suffix(".part")
        with part.open("wb") as file:
            np.savez(file, **pack(use, seed, first, count))
        part.replace(path)
    return path


def main(arguments: Sequence[str] | None = None) -> int:
    """Entry point; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--use", choices=sorted(USES), required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--first", type=int, default=0, help=f"a multiple of {EACH}")
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    end = options.first + options.count
    with ProcessPoolExecutor(options.processes) as pool:
        tasks = [
            pool.submit(write, options.use, options.seed, k, min(EACH, end - k), options.out)
            for k in range(options.first, end, EACH)
        ]
        for task in tasks:
            print(task.result(), file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
