"""Keeps programs running: restarts them with growing pauses, and stops them in order.

``rq.worker_pool`` would keep the workers only, not the API and the queue server, and forks them
from a process that has threads. It starts a worker that cannot start again every second, waits
without end for one that will not stop, and leaves its workers behind when it is killed.
"""

from __future__ import annotations

import logging
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import FrameType

from workers.processes import tether

LOG = logging.getLogger(__name__)

FIRST_PAUSE_S = 0.5
"""Pause before a failed program starts again, seconds; it doubles with each failure."""
LONGEST_PAUSE_S = 30.0
"""Longest such pause, seconds."""
STABLE_S = 60.0
"""A program that ran so many seconds was healthy: its failures are counted anew."""
_POLL_S = 0.1
"""Seconds between two looks at the programs."""


@dataclass(frozen=True, slots=True)
class Program:
    """A program to keep running.

    Attributes
    ----------
    rank : int
        Programs of the highest rank are stopped first.
    grace_s : float
        Time it has to end after SIGTERM before it is killed.
    """

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] | None = None
    rank: int = 0
    grace_s: float = 10.0


@dataclass(slots=True)
class _Running:
    program: Program
    child: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    failures: int = 0
    start_at: float = field(default=0.0)


def pause_after(failures: int) -> float:
    """Return the pause before the next start, seconds, after this many failures in a row."""
    if failures <= 0:
        return 0.0
    return float(min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(failures - 1, 16)))


class Supervisor:
    """Runs programs until told to stop.

    `start` and `run` belong on the main thread, which must live as long as the programs (the
    kernel ties them to it).
    """

    def __init__(
        self,
        programs: Sequence[Program],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._running = [_Running(program) for program in programs]
        self._clock = clock
        self._stopping = threading.Event()

    def request_stop(self, _signum: int = 0, _frame: FrameType | None = None) -> None:
        """End `run` soon. Fit for a signal handler."""
        self._stopping.set()

    @property
    def stopping(self) -> bool:
        """Whether a stop was requested."""
        return self._stopping.is_set()

    def install_signal_handlers(self) -> None:
        """Stop on SIGTERM and on Ctrl-C."""
        signal.signal(signal.SIGTERM, self.request_stop)
        signal.signal(signal.SIGINT, self.request_stop)

    def add(self, program: Program) -> None:
        """Start one more program and keep it running."""
        entry = _Running(program)
        self._running.append(entry)
        self._start(entry)

    def start(self) -> None:
        """Start every program that is not running and whose pause is over."""
        now = self._clock()
        for entry in self._running:
            if entry.child is None and now >= entry.start_at:
                self._start(entry)

    def check(self) -> None:
        """Notice ended programs and set the time of their next start."""
        for entry in self._running:
            if entry.child is None or (code := entry.child.poll()) is None:
                continue
            now = self._clock()
            long_lived = now - entry.started_at >= STABLE_S
            entry.failures = 0 if code == 0 else (1 if long_lived else entry.failures + 1)
            # A clean end is planned (a worker that recycles itself), yet never a busy loop.
            pause = pause_after(entry.failures) if code else (0.0 if long_lived else FIRST_PAUSE_S)
            entry.start_at = now + pause
            entry.child = None
            LOG.log(
                logging.WARNING if code else logging.INFO,
                "%s ended with code %d; starts again in %.1f s",
                entry.program.name,
                code,
                pause,
            )

    def run(self, beat: Callable[[], None] = lambda: None) -> None:
        """Keep all programs running until `request_stop`, then stop them.

        Parameters
        ----------
        beat : callable
            Called in each round, several times a second.
        """
        try:
            while not self._stopping.is_set():
                self.start()
                beat()
                self._stopping.wait(_POLL_S)
                self.check()
        finally:
            self.stop()

    def alive(self, name: str) -> bool:
        """Tell whether the program of that name is running now."""
        return any(
            entry.child is not None and entry.child.poll() is None
            for entry in self._running
            if entry.program.name == name
        )

    def stop(self) -> None:
        """Stop all programs, the highest rank first; one rank ends together."""
        for rank in sorted({entry.program.rank for entry in self._running}, reverse=True):
            group = [
                (entry, entry.child)
                for entry in self._running
                if entry.program.rank == rank and entry.child is not None
            ]
            for _, child in group:
                if child.poll() is None:
                    child.terminate()
            end = self._clock() + max((e.program.grace_s for e, _ in group), default=0.0)
            for entry, child in group:
                tether.stop(child, max(0.0, end - self._clock()))
                entry.child = None

    def _start(self, entry: _Running) -> None:
        entry.child = tether.spawn(entry.program.command, environment=entry.program.environment)
        entry.started_at = self._clock()
