"""What the engine takes for serves and throws in films of something else.

``python -m models.training others --films PACKS --drawn 40`` looks at the films of packs
(``python -m models.training bulk``) that show no serve, shadow, throw or hold, as the networks saw
them, and at drawn movements of other kinds, whose joints are exact. Nothing of either chose a
threshold of the search. Exit code 1 when a serve or a throw was found.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.vocabulary import RepetitionKind
from models.training.packed_films import packs_of
from workers.engine.detect import find_work, told_unasked
from workers.engine.signals import Signals, from_joints, from_track

WORK = frozenset(kind.value for kind in RepetitionKind)
MOST_DRAWN = 4000
"""Movements that are drawn at most to find so many of other kinds."""


def filmed(packs: Sequence[Path]) -> Iterator[tuple[str, Signals | None]]:
    """Return kind and signals of the films in packs that show something else."""
    from models.training.bulk.packs import read

    for pack in packs:
        for film in read(pack):
            if film.kind not in WORK:
                track = film.track()
                yield film.kind, None if track is None else from_track(track)


def drawn(use: str, seed: int, count: int) -> Iterator[tuple[str, Signals | None]]:
    """Return kind and signals of drawn movements that are something else, joints exact."""
    from models.training.rendered.movements.packed import FPS, joints_at_60, movement

    found = 0
    for index in range(MOST_DRAWN):
        if found == count:
            return
        try:
            performance, _, kind = movement(use, seed, index)
        except RuntimeError:  # the generator found no posture without a collision
            continue
        if kind in WORK:
            continue
        found += 1
        joints = joints_at_60(performance)
        yield kind, from_joints(np.arange(len(joints)) / FPS, joints, CANONICAL_BODY)


def taken_for(signals: Signals | None) -> tuple[str, ...]:
    """Return the kinds of work that are told of it where nobody asked for one."""
    return (
        () if signals is None else tuple(one.kind.value for one in told_unasked(find_work(signals)))
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m models.training others", description=__doc__)
    parser.add_argument("--films", type=Path, nargs="*", default=[], help="packs, or folders")
    parser.add_argument("--drawn", type=int, default=0, help="how many movements are drawn")
    parser.add_argument("--use", default="report", help="generator of drawn movements")
    parser.add_argument("--seed", type=int, default=91)
    options = parser.parse_args(arguments)
    packs = packs_of(options.films)
    shown: Counter[str] = Counter()
    wrong: Counter[tuple[str, str]] = Counter()
    for source in (filmed(packs), drawn(options.use, options.seed, options.drawn)):
        for kind, signals in source:
            shown[kind] += 1
            wrong.update((kind, found) for found in set(taken_for(signals)))
    for kind, count in sorted(shown.items()):
        found = {work: n for (what, work), n in wrong.items() if what == kind}
        print(f"{kind}: {count}, taken for {found or 'nothing'}")
    serves = {RepetitionKind.SERVE.value, RepetitionKind.THROW.value}
    false = sum(n for (_, work), n in wrong.items() if work in serves)
    print(f"{sum(shown.values())} of {len(shown)} kinds: {false} taken for a serve or a throw")
    return 1 if false else 0


if __name__ == "__main__":
    sys.exit(main())
