"""Movements drawn by the generators, in processes of their own."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Iterator

import numpy as np
import torch

from .bank import Bank, Movement, bank_of, joined
from .movement_source import draw_movement

CHUNK = 16
"""Movements that a process draws at a time."""
Order = tuple[str, int, int, int]


def _orders(use: str, count: int, seed: int) -> Iterator[Order]:
    """What to draw: use, seed, first index, how many."""
    for first in range(0, count, CHUNK):
        yield use, seed, first, min(CHUNK, count - first)


def _draw(order: Order) -> list[Movement]:
    use, seed, first, count = order
    found = [draw_movement(use, seed, first + i) for i in range(count)]
    return [
        Movement(one.joints.astype(np.float16), one.start, one.events)
        for one in found
        if one is not None
    ]


def _one_thread() -> None:
    torch.set_num_threads(1)


def generate(use: str, count: int, processes: int, seed: int, until_s: float) -> Bank:
    """Draw movements of some generators until there are enough or the time is over.

    Parameters
    ----------
    use : str
        What the movements are for; says which generators draw them.
    count : int
    processes : int
    seed : int
    until_s : float
        Longest time, seconds.
    """
    begun, banks, total = time.monotonic(), [], 0
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, initializer=_one_thread) as pool:
        for found in pool.imap_unordered(_draw, _orders(use, count, seed)):
            if found:
                banks.append(bank_of(found))
                total += len(found)
            if time.monotonic() - begun > until_s:
                pool.terminate()
                break
    print(f"{total} movements to {use} in {time.monotonic() - begun:.0f} s", flush=True)
    return joined(banks)
