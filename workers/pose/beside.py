"""Work beside the main thread: ONNX Runtime computes without Python's lock."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType
from typing import Self

AHEAD = 3
"""Jobs that may wait: each holds one crop of 256 x 256 pixels (working value)."""


class Beside:
    """Does jobs one after the other in a thread of its own, or at once; a context manager.

    At its end all jobs are done; after an error, those begun. What a job raises is raised by a
    later `do` or at the end.

    Parameters
    ----------
    threaded : bool
        False = each job is done before `do` returns.
    """

    def __init__(self, *, threaded: bool) -> None:
        self._pool = ThreadPoolExecutor(1, "second-network") if threaded else None
        self._waiting: deque[Future[None]] = deque()

    def do(self, job: Callable[[], None]) -> None:
        """Do a job soon; waits while too many wait."""
        if self._pool is None:
            job()
            return
        while len(self._waiting) >= AHEAD:
            self._waiting.popleft().result()
        self._waiting.append(self._pool.submit(job))

    @property
    def waiting(self) -> int:
        """How many jobs are not known to be done."""
        return len(self._waiting)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is None:
            return
        try:
            while self._waiting and error is None:
                self._waiting.popleft().result()
        finally:
            self._pool.shutdown(cancel_futures=True)
