"""The bench compares like with like; no time is asserted."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tests.unit.pose.conftest import Still
from workers.pose.bench import measure
from workers.pose.choice import Networks


def test_bare_loop_runs_exactly_what_the_pipeline_ran(
    contact_film: list[Still], networks: Networks
) -> None:
    frames = contact_film[:4]
    seen: list[bytes] = []

    def spy(image: np.ndarray) -> Mapping[str, np.ndarray]:
        seen.append(image.tobytes())
        return networks.blazepose(image)

    ticks = iter(range(100))
    cost = measure(
        frames,
        Networks(networks.finder, spy, networks.movenet),
        rounds=1,
        clock=lambda: float(next(ticks)),
    )
    third = len(seen) // 3
    assert third >= len(frames)
    assert seen[:third] == seen[third : 2 * third] == seen[2 * third :]
    # Every timed job lasted one tick of the injected clock.
    assert (cost.pipeline_ms, cost.bare_ms, cost.ratio) == (250.0, 250.0, 1.0)
    assert (cost.frames, cost.rounds) == (4, 1)
