"""What the cheapest networks cost a hold that is watched live, in error and in time.

``python -m models.training live_hold FILMS``: films of holds with a truth JSON beside each, read
live by several sets of networks. The error is that of the share over the rear foot while the load
is held; what the whole engine says of the same films stands beside it.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np

from models.contract.live import HoldOpening
from models.contract.vocabulary import Handedness
from workers.cli.accuracy import find_pairs, read_document
from workers.pose.choice import BlazePoseVariant, Networks, PoseChoice, SecondNetwork, open_networks
from workers.pose.live import LiveLook, live_networks
from workers.processes.hold_server import Shown, watcher

HELD_SHARE = 0.02
"""The load is held while its true share is so near to its median between the events of the hold."""


def sets() -> dict[str, Networks]:
    """Networks by name, the cheapest first."""
    heavy = PoseChoice(BlazePoseVariant.HEAVY, SecondNetwork.NONE)
    both = PoseChoice(BlazePoseVariant.HEAVY, SecondNetwork.THUNDER)
    return {
        "blazepose_full (what runs)": live_networks(),
        "blazepose_heavy": open_networks(heavy),
        "blazepose_heavy and movenet_thunder": open_networks(both),
    }


@dataclass(frozen=True)
class Measured:
    """One film by one set: errors of the share while held, intervals that hold, and cost."""

    errors: np.ndarray
    inside: np.ndarray
    readings: int
    film_s: float
    processor_s: float


def measured(film: Path, truth: Mapping[str, Any], networks: Networks) -> Measured:
    """Watch a film live and compare."""
    hand = Handedness(truth["handedness"])
    azimuth = float(truth["camera"]["azimuth_deg"]) % 360.0
    opening = HoldOpening(handedness=hand, azimuth_deg=azimuth)
    hold = watcher(opening, LiveLook(networks))
    true = np.asarray(truth["frame_metrics"]["rear_load_share"], float)
    times = truth["other_repetitions"][0]["event_times_s"]
    start, stop = (round(float(times[f"hold_{end}"]) * truth["fps"]) for end in ("start", "end"))
    errors, inside, count, spent = [], [], 0, 0.0
    for shown in _frames(film):
        began = time.process_time()
        reading = hold.show(shown)
        spent += time.process_time() - began
        if reading is None:
            continue
        count += 1
        now = reading.now
        if start <= shown.index <= stop and now.share is not None:
            errors.append(now.share - true[shown.index])
            inside.append((now.low or 0.0) <= true[shown.index] <= (now.high or 1.0))
    return Measured(np.array(errors), np.array(inside), count, len(true) / truth["fps"], spent)


def _frames(film: Path) -> Iterator[Shown]:
    with av.open(str(film)) as container:
        for index, frame in enumerate(container.decode(video=0)):
            pixels = np.asarray(frame.to_ndarray(format="rgb24"), np.uint8)
            yield Shown(index, float(frame.time or 0.0), pixels)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m models.training live_hold", description=__doc__
    )
    parser.add_argument("films", type=Path, nargs="+", help="folders, or films")
    options = parser.parse_args(arguments)
    found = [(f, t) for place in options.films for f, t in _pairs(place)]
    films = [(film, read_document(truth)) for film, truth in found]
    holds = [(f, t) for f, t in films if _is_hold(t)]
    print(
        "| networks | films | mean error | mean absolute error of means | intervals that hold "
        "| readings a second | processor seconds a second |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, networks in sets().items():
        done = [measured(film, truth, networks) for film, truth in holds]
        told = [one for one in done if len(one.errors)]
        means = np.array([one.errors.mean() for one in told])
        inside = np.concatenate([one.inside for one in told])
        rate = sum(one.readings for one in done) / sum(one.film_s - 1.0 for one in done)
        cost = sum(one.processor_s for one in done) / sum(one.film_s for one in done)
        print(
            f"| {name} | {len(told)} of {len(done)} | {100 * means.mean():+.1f} points "
            f"| {100 * np.abs(means).mean():.1f} points | {100 * inside.mean():.0f} % "
            f"| {rate:.1f} | {cost:.2f} |"
        )
    return 0


def _pairs(place: Path) -> list[tuple[Path, Path]]:
    if place.is_dir():
        return find_pairs(place)
    return [pair for pair in find_pairs(place.parent) if pair[0] == place]


def _is_hold(truth: Mapping[str, Any]) -> bool:
    kinds = [block["kind"] for block in truth.get("other_repetitions", ())]
    return kinds == ["hold"]


if __name__ == "__main__":
    sys.exit(main())
