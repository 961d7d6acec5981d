"""The way of a clip as a discrete-event model: stations with servers, and work that moves on.

A station is a number of servers before one queue, first come first served. What a clip asks of each
is drawn from measured samples. The model knows nothing of films: only how long each station needs.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import simpy

Draw = Callable[[], float]
"""Returns the next service time, seconds."""


@dataclass
class Station:
    """Servers before one queue.

    Attributes
    ----------
    servers : int
        At the end; workers may come and go.
    waits_s : list of float
        Time in the queue of everything that was served.
    busy_s : float
        Service time given, over all servers.
    """

    env: simpy.Environment
    name: str
    servers: int
    waits_s: list[float] = field(default_factory=list)
    busy_s: float = 0.0
    _waiting: list[tuple[float, Any]] = field(default_factory=list)
    _working: int = 0
    _head: int = 0

    def serve(self, service_s: float) -> Generator[Any, Any, None]:
        """Wait for a server, then be served. A process of the model."""
        asked = self.env.now
        if self._working >= self.servers:
            turn = self.env.event()
            self._waiting.append((asked, turn))
            yield turn
        else:
            self._working += 1
        self.waits_s.append(self.env.now - asked)
        yield self.env.timeout(service_s)
        self.busy_s += service_s
        self._next()

    def resize(self, servers: int) -> None:
        """Change the number of servers; those at work finish what they have."""
        self.servers = servers
        while self._working < self.servers and self.queued:
            self._working += 1
            self._admit()

    @property
    def queued(self) -> int:
        """How much waits."""
        return len(self._waiting) - self._head

    @property
    def oldest_s(self) -> float:
        """How long the first in the queue has waited, seconds; 0 without any."""
        return float(self.env.now - self._waiting[self._head][0]) if self.queued else 0.0

    def _next(self) -> None:
        if self.queued and self._working <= self.servers:
            self._admit()
        else:
            self._working -= 1

    def _admit(self) -> None:
        _, turn = self._waiting[self._head]
        self._waiting[self._head] = (0.0, None)
        self._head += 1
        turn.succeed()


def sampled(values: npt.ArrayLike, rng: np.random.Generator, scale: float = 1.0) -> Draw:
    """Return draws with replacement from measured values."""
    known = np.asarray(values, dtype=np.float64) * scale
    if known.size == 0:
        raise ValueError("no measured values to draw from")
    block: list[float] = []

    def draw() -> float:
        if not block:
            block.extend(rng.choice(known, 4096).tolist())
        return block.pop()

    return draw


def exponential(mean_s: float, rng: np.random.Generator) -> Draw:
    """Return exponential draws."""
    return lambda: float(rng.exponential(mean_s))


def arrivals(
    env: simpy.Environment,
    rate: Callable[[float], float],
    most: float,
    rng: np.random.Generator,
    arrive: Callable[[], Generator[Any, Any, None]],
) -> Generator[Any, Any, None]:
    """Let work arrive by a Poisson process of changing rate (thinning). A process of the model.

    Parameters
    ----------
    rate : callable
        Arrivals a second at a time.
    most : float
        Highest rate.
    arrive : callable
        Makes the process of one arrival.
    """
    while True:
        yield env.timeout(float(rng.exponential(1.0 / most)))
        if rng.random() * most < rate(env.now):
            env.process(arrive())
