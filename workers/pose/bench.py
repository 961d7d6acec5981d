"""What the pose stage costs beside the bare networks, in the same run on the same crops.

A first, untimed pass records every array the pipeline hands to the two pose networks.
Then rounds alternate: the whole stage (survey, following, cutting, heat maps, fusion,
smoothing), and a loop that does nothing but run the networks on the recorded arrays. The
time counted is processor time, which other programs on the machine lengthen least; for a
network on a GPU pass a wall clock instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from time import process_time
from typing import Any

import numpy as np
import numpy.typing as npt

from workers.pose.choice import Networks
from workers.pose.estimate import estimate
from workers.pose.frames import Frame
from workers.pose.networks import Runner


@dataclass(frozen=True, slots=True)
class Cost:
    """Result of `measure`; times in milliseconds a frame, medians over the rounds.

    Attributes
    ----------
    frames, rounds : int
    pipeline_ms : float
        The whole pose stage.
    bare_ms : float
        The two pose networks alone on the same crops, by a loop of session runs.
    finder_ms : float
        The finder's runs alone on the same frames (part of `pipeline_ms`).
    ratio : float
        Rate of the stage as a share of the rate of the bare loop: bare_ms / pipeline_ms.
    """

    frames: int
    rounds: int
    pipeline_ms: float
    bare_ms: float
    finder_ms: float
    ratio: float


class _Recorder:
    """A runner that keeps what it was given."""

    def __init__(self, runner: Runner) -> None:
        self.runner = runner
        self.inputs: list[npt.NDArray[Any]] = []

    def __call__(self, image: npt.NDArray[Any]) -> Mapping[str, npt.NDArray[Any]]:
        self.inputs.append(image.copy())
        return self.runner(image)

    def replay(self) -> None:
        """Run the network on everything recorded."""
        for image in self.inputs:
            self.runner(image)


def measure(
    frames: Sequence[Frame],
    networks: Networks,
    rounds: int = 3,
    clock: Callable[[], float] = process_time,
) -> Cost:
    """Time the stage and the bare networks on frames that are decoded already.

    Parameters
    ----------
    frames : sequence of Frame
        Held in memory; at least a second of film with a person in it.
    networks : Networks
    rounds : int
        Alternating rounds of both.
    clock : callable
        Seconds.

    Raises
    ------
    NoPerson
        If the frames show nobody.
    """
    finder, first = _Recorder(networks.finder), _Recorder(networks.blazepose)
    second = None if networks.movenet is None else _Recorder(networks.movenet)
    estimate(
        lambda _=None, /: frames, replace(networks, finder=finder, blazepose=first, movenet=second)
    )

    def bare() -> None:
        first.replay()
        if second is not None:
            second.replay()

    jobs: tuple[Callable[[], object], ...] = (
        lambda: estimate(lambda _=None, /: frames, networks),
        bare,
        finder.replay,
    )
    times = np.array([[seconds(job, clock) for job in jobs] for _ in range(rounds)])
    pipeline, alone, finding = (np.median(times, axis=0) / len(frames) * 1e3).tolist()
    return Cost(
        frames=len(frames),
        rounds=rounds,
        pipeline_ms=pipeline,
        bare_ms=alone,
        finder_ms=finding,
        ratio=float(np.median(times[:, 1] / times[:, 0])),
    )


def seconds(job: Callable[[], object], clock: Callable[[], float] = process_time) -> float:
    """Return how long a job takes by a clock, seconds."""
    start = clock()
    job()
    return clock() - start
