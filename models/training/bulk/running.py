"""``python -m models.training bulk``: films of a set as the pose networks see them, in packs.

One film is one task; a film that is there is kept, so an interrupted run goes on. With
``--minutes`` no film is begun after that time, and what is done is packed. Messenger compression
is stood in for by shrinking, JPEG and enlarging, because no video encoder is needed here; ``python
-m models.training films`` writes real H.264 films of the same sets.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
import traceback
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np

from models.training.rendered.body_basis import load_basis
from models.training.rendered.profiles import PROFILES
from models.training.rendered.rest_body import use


def begin(bodies: Path | None) -> None:
    """Prepare a process: where bodies come from."""
    if bodies is not None:
        use(load_basis(bodies))


def task(profile: str, seed: int, index: int, folder: Path, until: float, fastest: float) -> str:
    """Make one film unless it is there or time is over; what happened."""
    from .one_film import film  # here, so that the options can be listed without numba

    path = folder / f"{profile}-{seed}-{index:06d}.npz"
    if path.exists():
        return "kept"
    if time.time() > until:
        return "late"
    began = time.process_time()
    try:
        arrays = film(profile, seed, index, fastest=fastest)
    except Exception as error:  # one film that cannot be drawn must not end a run of thousands
        path.with_suffix(".failed").write_text(traceback.format_exc(), encoding="utf-8")
        return f"failed {index}: {type(error).__name__}: {error}"
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez_compressed(file, **arrays)
    part.replace(path)
    frames = len(arrays["time_s"])
    return f"made {frames} {(time.process_time() - began):.2f}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training bulk", description=__doc__)
    parser.add_argument("--profile", choices=sorted(PROFILES), required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=np.inf, help="begin no film after this")
    parser.add_argument("--fastest", type=float, default=60.0, help="most frames a second drawn")
    parser.add_argument("--bodies", type=Path, help="file of `basis`; without it, anny")
    parser.add_argument("--work", type=Path, required=True, help="a file a film; may be resumed")
    parser.add_argument("--out", type=Path, required=True, help="the packs")
    options = parser.parse_args(arguments)
    from .packs import pack

    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # for the processes begun below: one a core is enough
    options.work.mkdir(parents=True, exist_ok=True)
    until = time.time() + 60.0 * options.minutes
    indices = range(options.first, options.first + options.count)
    began, frames, spent, done = time.time(), 0, 0.0, 0
    with ProcessPoolExecutor(
        options.processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=begin,
        initargs=(options.bodies,),
    ) as pool:
        jobs = [
            pool.submit(
                task, options.profile, options.seed, i, options.work, until, options.fastest
            )
            for i in indices
        ]
        for job in as_completed(jobs):
            word, _, rest = job.result().partition(" ")
            if word == "made":
                count, seconds = rest.split()
                frames, spent, done = frames + int(count), spent + float(seconds), done + 1
                if done % 50 == 0:
                    print(f"{done} films, {time.time() - began:.0f} s", file=sys.stderr)
            elif word == "failed":
                print(job.result(), file=sys.stderr)
    each = spent / frames if frames else float("nan")
    print(
        f"{done} films, {frames} frames, {each:.3f} s of processor each, "
        f"{time.time() - began:.0f} s in all",
        file=sys.stderr,
    )
    made = pack(sorted(options.work.glob(f"{options.profile}-{options.seed}-*.npz")), options.out)
    print("\n".join(f"{p} {p.stat().st_size / 1e6:.1f} MB" for p in made))
    return 0 if made else 1
