"""Counters that all processes of the installation share, in Redis beside the queue.

They are for watching, not for deciding: while Redis is away nothing is counted, and where it
forgets, counting begins at 0 again, which readers of counters expect of a restarted process.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from redis.exceptions import RedisError

from service.core.queue import WorkQueue

logger = logging.getLogger(__name__)
SEPARATOR = "|"
"""Between the name of a counter and the values of its labels, none of which holds it."""
MOST = 2000
"""Counters that are read; labels come from closed lists, so there are far fewer."""


class Tallies:
    """Adds to counters, and reads all of them."""

    def __init__(self, queue: WorkQueue) -> None:
        self._queue = queue

    @property
    def _key(self) -> str:
        return f"servewright:tally:{self._queue.name}"

    def add(self, amounts: Mapping[tuple[str, ...], float]) -> None:
        """Add to counters, each named by a tuple: its name, then the values of its labels."""
        try:
            with self._queue.connection.pipeline() as pipe:
                for name, amount in amounts.items():
                    pipe.hincrbyfloat(self._key, SEPARATOR.join(name), amount)
                pipe.execute()
        except RedisError:
            logger.debug("Redis does not answer: %d counts are lost", len(amounts))

    def read(self) -> dict[tuple[str, ...], float]:
        """Return all counters; none while Redis is away."""
        found: dict[tuple[str, ...], float] = {}
        try:
            raw: Any = self._queue.connection.hgetall(self._key)
        except RedisError:
            return found
        for name, value in list(raw.items())[:MOST]:
            with suppress(ValueError, UnicodeDecodeError):
                found[tuple(name.decode().split(SEPARATOR))] = float(value)
        return found
