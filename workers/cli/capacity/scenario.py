"""One size of the service under one day's load: what waits where, at the busiest hour."""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import numpy as np

from workers.cli.capacity.measured import FILES_A_RESULT, RECEIVER_S, LoadCosts
from workers.cli.capacity.model import Station, arrivals, sampled

PEAK_SHARE = 0.15
"""Share of a day's clips in its busiest hour: evenings (working value)."""
HOUR_S = 3600.0
"""Seconds of an hour."""
HEARTBEAT_S = 5.0
"""Seconds between a worker's signs of life: the default of SERVEWRIGHT_HEARTBEAT_S."""
POLL_S = 5.0
"""Seconds between two status requests for a clip that somebody waits for (working value)."""
TRANSACTIONS = 9
"""Changes of state a clip asks for, without heartbeats: upload, entering, claim, first look,
completion, and two for each of its two events."""
SENDER_SLOTS = 16
"""Requests to receivers at a time for each API process: the default of its setting."""
ROUND_S = 10.0
"""Seconds between two rounds of the reconciler: the default of its setting."""


@dataclass(frozen=True, slots=True)
class Size:
    """How large the service is.

    Attributes
    ----------
    workers : int
    api_processes : int
        Each has a webhook sender with ``SENDER_SLOTS`` requests at a time too.
    database_connections : int
        Changes of state that the database makes at once: 1 for SQLite, about its cores for
        PostgreSQL.
    """

    workers: int
    api_processes: int = 1
    database_connections: int = 1


@dataclass(frozen=True, slots=True)
class Scaling:
    """The rule by which workers come and go.

    Attributes
    ----------
    target_s : float
        Longest time that the oldest queued analysis should have waited.
    every_s : float
        Time between two looks.
    start_s : float
        Time until a new worker takes work.
    least, most : int
    """

    target_s: float = 60.0
    every_s: float = 60.0
    start_s: float = 120.0
    least: int = 1
    most: int = 1000

    def wanted(
        self, workers: int, queued: int, oldest_s: float, arriving: float, service_s: float
    ) -> int:
        """Return how many workers there should be.

        As many as the arrivals of the last interval keep busy, and so many more that what is
        queued is gone within the target. Fewer only while the queue is young.
        """
        steady = arriving * service_s
        wanted = math.ceil(steady + queued * service_s / self.target_s)
        if wanted < workers and oldest_s > self.target_s / 4.0:
            wanted = workers
        return min(self.most, max(self.least, wanted))


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What the busiest hour looked like.

    Attributes
    ----------
    wait_p50_s, wait_p95_s : float
        Time in the queue before a worker takes the clip.
    result_p95_s : float
        Upload to result.
    use : dict
        Share of time that the servers of each station were busy.
    delays_p95_s : dict
        Time in the queue of each station.
    left : int
        Analyses that still waited at the end.
    workers : int
        At the end.
    round_s : float
        How long a round of the reconciler took with the longest queue.
    """

    clips: int
    wait_p50_s: float
    wait_p95_s: float
    result_p95_s: float
    use: dict[str, float]
    delays_p95_s: dict[str, float]
    left: int
    workers: int
    round_s: float


def simulate(
    clips_a_day: float,
    size: Size,
    measured: LoadCosts,
    *,
    seed: int = 1,
    seconds: float = HOUR_S,
    scaling: Scaling | None = None,
) -> LoadOutcome:
    """Simulate the busiest hour, beginning with an empty queue; the rate rises over a tenth of it.

    Raises
    ------
    ModuleNotFoundError
        Without the extra ``capacity``.
    """
    import simpy

    env = simpy.Environment()
    rng = np.random.default_rng(seed)
    api = Station(env, "api", size.api_processes)
    database = Station(env, "database", size.database_connections)
    workers = Station(env, "workers", size.workers)
    sender = Station(env, "webhooks", size.api_processes * SENDER_SLOTS)
    analysis, upload, status, transaction, store = (
        sampled(values, rng)
        for values in (
            *(measured.analysis_s, measured.upload_s, measured.status_s),
            *(measured.transaction_s, measured.store_s),
        )
    )
    took: list[float] = []
    arrived = [0]
    longest = [0]

    def change(count: int) -> Generator[Any, Any, None]:
        for _ in range(count):
            yield from database.serve(transaction())

    def event() -> Generator[Any, Any, None]:
        yield from sender.serve(RECEIVER_S + 2.0 * transaction())
        yield from change(2)

    def asked(until: Any) -> Generator[Any, Any, None]:
        while not until.triggered:
            yield env.timeout(POLL_S)
            yield from api.serve(status())

    def clip() -> Generator[Any, Any, None]:
        start = env.now
        arrived[0] += 1
        done = env.event()
        yield from api.serve(upload())
        yield from change(2)
        env.process(asked(done))
        longest[0] = max(longest[0], workers.queued)
        service = analysis()
        beats = int(service / HEARTBEAT_S)
        stored = sum(store() for _ in range(FILES_A_RESULT))
        yield from workers.serve(service + stored)
        env.process(event())
        yield from change(3)
        env.process(change(beats))
        env.process(event())
        done.succeed()
        took.append(env.now - start)

    peak = clips_a_day * PEAK_SHARE / HOUR_S
    rise = seconds / 10.0
    env.process(arrivals(env, lambda now: peak * min(1.0, now / rise), peak, rng, clip))
    if scaling is not None:
        env.process(_scaled(env, workers, scaling, arrived, float(np.mean(measured.analysis_s))))
    env.run(until=seconds)
    stations = (api, database, workers, sender)
    return LoadOutcome(
        clips=arrived[0],
        wait_p50_s=_percentile(workers.waits_s, 50),
        wait_p95_s=_percentile(workers.waits_s, 95),
        result_p95_s=_percentile(took, 95),
        use={one.name: min(1.0, one.busy_s / (one.servers * seconds)) for one in stations},
        delays_p95_s={one.name: _percentile(one.waits_s, 95) for one in stations},
        left=workers.queued,
        workers=workers.servers,
        round_s=longest[0] * measured.round_row_s,
    )


def _scaled(
    env: Any, workers: Station, scaling: Scaling, arrived: list[int], service_s: float
) -> Generator[Any, Any, None]:
    """Let workers come and go by the rule. A process of the model."""
    before = 0

    def grow(count: int) -> Generator[Any, Any, None]:
        yield env.timeout(scaling.start_s)
        workers.resize(workers.servers + count)

    ordered = workers.servers
    while True:
        yield env.timeout(scaling.every_s)
        arriving = (arrived[0] - before) / scaling.every_s
        before = arrived[0]
        wanted = scaling.wanted(ordered, workers.queued, workers.oldest_s, arriving, service_s)
        if wanted > ordered:
            env.process(grow(wanted - ordered))
        elif wanted < ordered and ordered == workers.servers:
            workers.resize(wanted)
        else:
            continue
        ordered = wanted


def _percentile(values: list[float], share: float) -> float:
    return float(np.percentile(values, share)) if values else 0.0
