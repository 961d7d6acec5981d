"""One thread a process, settled before the numeric libraries are imported.

Workers scale by processes: one process per core with one thread each is the fastest and the
steadiest, and a pool of threads would not survive the fork of a job.
"""

from __future__ import annotations

import os
from collections.abc import MutableMapping

SINGLE_THREAD: dict[str, str] = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMEXPR_NUM_THREADS": "1",
    "VECLIB_MAXIMUM_THREADS": "1",
}


def limit_threads(environment: MutableMapping[str, str] = os.environ) -> None:
    """Set the variables the numeric libraries read when they are imported."""
    environment.update(SINGLE_THREAD)


def usable_cores() -> int:
    """Return the cores this process may use: affinity and control-group quota count."""
    try:
        cores = len(os.sched_getaffinity(0))
    except AttributeError:  # macOS
        cores = os.cpu_count() or 1
    quota = _quota()
    return max(1, min(cores, int(quota)) if quota is not None else cores)


def _quota(path: str = "/sys/fs/cgroup/cpu.max") -> float | None:
    """Return the cores a version 2 control group allows, None without a limit."""
    try:
        with open(path, encoding="ascii") as file:
            allowed, period = file.read().split()[:2]
        return None if allowed == "max" else float(allowed) / float(period)
    except (OSError, ValueError):
        return None
