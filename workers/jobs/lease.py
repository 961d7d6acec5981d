"""Holding on to an analysis: a thread renews the lease and notices when the work is not ours."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import Protocol, Self, TypeVar

from models.contract.errors import DependencyError, ServewrightError
from models.contract.vocabulary import Stage
from workers.pipeline.time_left import TimeLeft

LOG = logging.getLogger(__name__)

T = TypeVar("T")

FIRST_WAIT_S = 0.25
"""Wait before the first repetition of a step whose store was away, seconds; it doubles each
time."""
LONGEST_WAIT_S = 15.0
"""Longest such wait, seconds."""


class Heartbeat(Protocol):
    """Extends the lease and notes progress; raises when the work is no longer ours."""

    def __call__(
        self, stage: Stage | None, progress: float | None, time_left_s: float | None
    ) -> object:
        """Renew."""


class Lease:
    """Context manager that renews a lease every ``interval_s`` seconds.

    Call it as a progress report: it remembers how far the work is, and raises what the last
    renewal raised (``LeaseLost``, ``Cancelled``, ``Erased``), which ends the work.
    """

    def __init__(self, renew: Heartbeat, interval_s: float) -> None:
        self._renew = renew
        self._interval_s = interval_s
        self._end = threading.Event()
        self._lost: ServewrightError | None = None
        self._stage: Stage | None = None
        self._done: float | None = None
        self._left: TimeLeft | None = None
        self._waits_for: DependencyError | None = None
        self._stretches: list[tuple[Stage, float, float]] = []
        self._since = time.monotonic()
        self._thread = threading.Thread(target=self._loop, name="lease", daemon=True)

    @property
    def stage(self) -> Stage | None:
        """The stage last reported."""
        return self._stage

    @property
    def waits_for(self) -> DependencyError | None:
        """What the step that runs now has been waiting for; None = it does not wait."""
        return self._waits_for

    def foretell(self, left: TimeLeft) -> None:
        """Note with each renewal from now on how much time is left."""
        self._left = left

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self._end.set()
        self._thread.join()

    def __call__(self, stage: Stage, done: float) -> None:
        """Note how far the work is; raise when it is no longer ours."""
        if stage is not self._stage:
            self._count_stage()
        self._stage, self._done = stage, done
        self.check()

    def stage_seconds(self) -> dict[Stage, float]:
        """Return how long each stage has taken so far, seconds."""
        spent: dict[Stage, float] = {}
        for stage, begun, ended in self.stretches():
            spent[stage] = spent.get(stage, 0.0) + ended - begun
        return spent

    def stretches(self) -> list[tuple[Stage, float, float]]:
        """Return the stages gone through so far, in order, from when to when (monotonic clock)."""
        self._count_stage()
        return list(self._stretches)

    def _count_stage(self) -> None:
        now = time.monotonic()
        if self._stage is not None:
            begun = self._since
            if self._stretches and self._stretches[-1][0] is self._stage:
                begun = self._stretches.pop()[1]
            self._stretches.append((self._stage, begun, now))
        self._since = now

    def check(self) -> None:
        """Raise when the work is no longer ours."""
        if self._lost is not None:
            raise self._lost

    def patiently(self, step: Callable[[], T]) -> T:
        """Return what ``step`` returns; while a dependency is away, wait and try again.

        An outage of the object store or the database must not fail every analysis in work. The
        job's time limit bounds the waiting.
        """
        wait = FIRST_WAIT_S
        while True:
            self.check()
            try:
                done = step()
            except DependencyError as error:
                self._waits_for = error
                LOG.warning("%s; trying again in %.1f s", error.code, wait)
                time.sleep(wait)
                wait = min(LONGEST_WAIT_S, wait * 2)
            else:
                self._waits_for = None
                return done

    def _loop(self) -> None:
        while not self._end.wait(self._interval_s):
            left = self._left
            try:
                self._renew(self._stage, self._done, left.seconds if left else None)
            except DependencyError as error:
                # The database is away. If somebody else takes over in the meantime, the fenced
                # commit refuses ours.
                LOG.warning("lease not renewed: %s", error.code)
            except ServewrightError as error:
                self._lost = error
                return
            except Exception:
                LOG.exception("lease not renewed")
