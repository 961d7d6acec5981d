"""What a worker loads once and its jobs inherit by fork, and the check that this works here."""

from __future__ import annotations

import hashlib
import logging
import os
import select
import signal
from collections.abc import Callable
from contextlib import suppress
from typing import Generic, TypeVar

LOG = logging.getLogger(__name__)

T = TypeVar("T")

FORK_CHECK_S = 10.0


class Preloaded(Generic[T]):
    """A value made on first use, which forked children of the process then share.

    Parameters
    ----------
    make : callable
        Makes the value.
    """

    def __init__(self, make: Callable[[], T]) -> None:
        self._make = make
        self._value: T | None = None

    def get(self) -> T:
        """Return the value; make it if this process has none."""
        if self._value is None:
            self._value = self._make()
        return self._value

    def forget(self) -> None:
        """Drop the value, so that each job makes its own."""
        self._value = None

    def keep_if_forkable(self, run: Callable[[T], bytes], seconds: float = FORK_CHECK_S) -> bool:
        """Keep the value only if a forked child computes with it what this process computes.

        Parameters
        ----------
        run : callable
            A short computation with the value; its bytes are compared.
        seconds : float
            Time the child gets, which may hang on a lock it inherited.
        """
        good = survives_fork(lambda: run(self.get()), seconds)
        if not good:
            LOG.warning("a forked child does not compute the same; models load in each job")
            self.forget()
        return good


def survives_fork(run: Callable[[], bytes], seconds: float = FORK_CHECK_S) -> bool:
    """Tell whether a forked child gets the same bytes from ``run`` within the time."""
    wanted = hashlib.sha256(run()).digest()
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            os.close(read_end)
            os.write(write_end, hashlib.sha256(run()).digest())
            code = 0
        finally:
            # No destructor of an inherited object may run in the child.
            os._exit(code)
    os.close(write_end)
    try:
        ready, _, _ = select.select([read_end], [], [], seconds)
        got = os.read(read_end, 64) if ready else b""
    finally:
        os.close(read_end)
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
    return got == wanted
