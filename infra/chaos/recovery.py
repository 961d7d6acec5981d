"""How long the service needs after a harm, watched from outside while the run goes on.

What counts as recovered: after the API was killed, that it answers; after the database, that
``/readyz`` is well again; after a process of the workers or a full disk, that all work which ran
at that moment has ended or renewed its lease since; after Redis was emptied, that all work which
waited at that moment is listed in Redis again, runs or has ended. Counted from the kill, from when
the database server runs again, and from when the disk has room again. Work whose worker was killed
waits in the queue once more, behind all that waits already: its time holds that wait.
"""

from __future__ import annotations

import collections
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import httpx
import psycopg
import redis

LOOK_S = 0.2
"""Seconds between two looks: times are good to about as much."""
OPEN = ("queued", "running")


@dataclass
class _Waiting:
    kind: str
    since: float
    recovered: Callable[[], bool]


class Recovery:
    """Notes harms and, in a thread, when each is over.

    Attributes
    ----------
    seconds : dict
        Times to recovery by kind of harm.
    """

    def __init__(self, database_url: str, queue: redis.Redis, api: str, lease_s: float) -> None:
        self.seconds: dict[str, list[float]] = collections.defaultdict(list)
        self._url, self._queue, self._api, self._lease_s = database_url, queue, api, lease_s
        self._waiting: list[_Waiting] = []
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._loop, daemon=True)
        self._thread.start()

    def rows(self) -> dict[str, tuple[str, int, float]]:
        """Return status, attempt and seconds of lease left (0 = none) of each piece of work."""
        with psycopg.connect(self._url, connect_timeout=3) as connection:
            found = connection.execute(
                "SELECT id, status, attempt, "
                "coalesce(extract(epoch FROM lease_until - clock_timestamp()), 0) FROM work"
            ).fetchall()
        return {row[0]: (row[1], row[2], float(row[3])) for row in found}

    def begin(self, kind: str, *, before: dict[str, tuple[str, int, float]] | None = None) -> None:
        """Note a harm that was just done; ``before``: the rows as they were at that moment."""
        since = time.monotonic()
        if kind == "api":
            check = self._answers("/livez")
        elif kind == "database":
            check = self._answers("/readyz")
        elif kind == "flush":
            check = self._listed({one for one, row in (before or {}).items() if row[0] == "queued"})
        else:
            held = {one for one, row in (before or {}).items() if row[0] == "running"}
            check = self._renewed(held, since)
        self._waiting.append(_Waiting(kind, since, check))

    def close(self) -> dict[str, int]:
        """Stop watching; return how many harms of each kind were not seen to end."""
        self._end.set()
        self._thread.join(10)
        return dict(collections.Counter(one.kind for one in self._waiting))

    def _answers(self, path: str) -> Callable[[], bool]:
        def check() -> bool:
            try:
                return httpx.get(self._api + path, timeout=3, trust_env=False).status_code == 200
            except httpx.TransportError:
                return False

        return check

    def _renewed(self, held: set[str], since: float) -> Callable[[], bool]:
        def check() -> bool:
            gone = time.monotonic() - since
            rows = self.rows()
            # A lease that was renewed since the harm ends later than one that was not can.
            return all(
                rows[one][0] not in OPEN
                or (rows[one][0] == "running" and rows[one][2] > self._lease_s - gone)
                for one in held
            )

        return check

    def _listed(self, waited: set[str]) -> Callable[[], bool]:
        def check() -> bool:
            rows = self.rows()
            names: set[str] = set()
            for key in self._queue.scan_iter("rq:queue:*"):
                names |= {one.decode() for one in self._queue.lrange(key, 0, -1)}  # type: ignore[union-attr]
            return all(
                rows[one][0] != "queued" or f"{one}-{rows[one][1]}" in names for one in waited
            )

        return check

    def _loop(self) -> None:
        while not self._end.wait(LOOK_S):
            for one in list(self._waiting):
                try:
                    over = one.recovered()
                except (psycopg.Error, redis.RedisError):  # the database is down: not yet
                    continue
                if over:
                    self.seconds[one.kind].append(time.monotonic() - one.since)
                    self._waiting.remove(one)
