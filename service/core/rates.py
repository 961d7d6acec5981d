"""How often an organisation, or whoever comes with a link, may ask: requests counted by the
minute, in Redis, by all processes.

A counter a minute (INCR and EXPIRE): at the turn of a minute up to twice the limit may pass within
a minute, which a limit that keeps others served can bear. While Redis is away nothing is counted
and nobody refused: films are still taken in then, and the log says so.
"""

from __future__ import annotations

import logging
import time

from redis.exceptions import RedisError

from models.contract.errors import RateLimited
from models.contract.note_codes import NoteCode, say
from service.core.queue import WorkQueue

logger = logging.getLogger(__name__)
WINDOW_S = 60
"""Seconds over which requests are counted: limits are stated a minute."""
AWAY_S = 10.0
"""So long nobody asks a Redis that did not answer, seconds (working value): each try may wait for
its time-outs."""


class RateLimiter:
    """Counts requests beside the queue, under its name, so that installations do not meet."""

    def __init__(self, queue: WorkQueue) -> None:
        self._queue = queue
        self._away_until = 0.0

    def check(self, whose: str, limit: int, code: NoteCode = NoteCode.TOO_MANY_REQUESTS) -> None:
        """Count a request; raise ``RateLimited`` when it is one too many. 0 = no limit.

        Parameters
        ----------
        whose : str
            An organisation, a link or an address.
        code : NoteCode
            What to say then.
        """
        if not limit or time.monotonic() < self._away_until:
            return
        now = int(time.time())
        try:
            with self._queue.connection.pipeline() as pipe:
                key = f"servewright:rate:{self._queue.name}:{whose}:{now // WINDOW_S}"
                pipe.incr(key)
                pipe.expire(key, 2 * WINDOW_S)
                count = int(pipe.execute()[0])
        except RedisError:
            self._away_until = time.monotonic() + AWAY_S
            logger.warning("Redis does not answer: requests are not counted for %g s", AWAY_S)
            return
        if count > limit:
            wait = WINDOW_S - now % WINDOW_S
            raise RateLimited(
                say(code, limit=limit, wait=wait),
                headers={"retry-after": str(wait)},
            )
