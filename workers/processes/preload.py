"""The check that what a worker loads once works in the jobs that inherit it by fork."""

from __future__ import annotations

import hashlib
import os
import select
import signal
from collections.abc import Callable
from contextlib import suppress

import numpy as np

from models import registry
from workers.pose.choice import Networks

FORK_CHECK_S = 10.0
"""A forked child that has not answered after so many seconds hangs (working value)."""


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


def warm_up(networks: Networks) -> bytes:
    """Run every network once on the same made-up picture; return all outputs as bytes."""
    answers: list[bytes] = []
    for session in networks.sessions:
        wanted = registry.entry(session.name).input
        shape = tuple(size if isinstance(size, int) else _FREE_AXIS for size in wanted.shape)
        ramp = np.linspace(0.0, 1.0 if wanted.dtype == "float32" else 255.0, int(np.prod(shape)))
        outputs = session(ramp.reshape(shape).astype(wanted.dtype))
        answers += [outputs[name].tobytes() for name in sorted(outputs)]
    return b"".join(answers)


_FREE_AXIS = 256
"""Size used where a network leaves one open, pixels."""
