"""Peak memory of the processes below one, read from Linux's ``/proc`` while they run."""

from __future__ import annotations

import threading
from pathlib import Path
from types import TracebackType
from typing import Self

EVERY_S = 0.05
"""Seconds between two looks; the kernel keeps each process's own peak between them."""
MB = 1024.0
"""The kernel counts in KiB."""


class Peaks:
    """Context manager; watches a process and everything it starts.

    Attributes
    ----------
    megabytes : dict
        Peak resident memory (``VmHWM``, MiB) by process id; shared pages count in each.
    names : dict
        What the kernel calls each process.
    """

    def __init__(self, root: int) -> None:
        self._root = root
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="peaks", daemon=True)
        self.megabytes: dict[int, float] = {}
        self.names: dict[int, str] = {}

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

    @property
    def root_mb(self) -> float:
        """Peak of the watched process itself, MiB."""
        return self.megabytes.get(self._root, 0.0)

    @property
    def child_mb(self) -> float:
        """Highest peak among the processes that it started, MiB; 0 without any."""
        others = [peak for pid, peak in self.megabytes.items() if pid != self._root]
        return max(others, default=0.0)

    def _watch(self) -> None:
        while True:
            for pid in descendants(self._root):
                self._look(pid)
            if self._end.wait(EVERY_S):
                return

    def _look(self, pid: int) -> None:
        try:
            text = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
        except OSError:
            return  # it has ended
        values = dict(line.split(":", 1) for line in text.splitlines() if ":" in line)
        if "VmHWM" in values:
            peak = float(values["VmHWM"].split()[0]) / MB
            self.megabytes[pid] = max(peak, self.megabytes.get(pid, 0.0))
            self.names[pid] = values["Name"].strip()


def descendants(root: int) -> list[int]:
    """Return a process and all that descend from it."""
    found, waiting = [], [root]
    while waiting:
        pid = waiting.pop()
        found.append(pid)
        for task in Path(f"/proc/{pid}/task").glob("*/children"):
            try:
                waiting += [int(one) for one in task.read_text(encoding="ascii").split()]
            except OSError:
                continue
    return found
