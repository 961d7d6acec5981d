"""Waiting for queued work without pestering the service."""

from __future__ import annotations

import time
from collections.abc import Callable

from servewright_client.errors import WaitedTooLong, WorkFailed
from servewright_client.resources import Work
from servewright_client.transport import Transport, asked_wait

FIRST_LOOK_S = 0.5
"""Wait before the second look, seconds; half as long again for each further one (working value)."""
LONGEST_LOOK_S = 10.0
"""Longest wait between two looks, seconds (working value)."""
SHARE_OF_REST = 0.25
"""Where the service says how long it takes, that share of it is waited (working value)."""

Watch = Callable[[Work], object]
"""Is shown the work at each look."""


def wait(
    transport: Transport,
    work: Work,
    timeout_s: float,
    watch: Watch | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> Work:
    """Return work once it is completed.

    Raises
    ------
    WorkFailed
        When it failed or was cancelled.
    WaitedTooLong
        When it has not ended by then; it goes on.
    """
    started, step = clock(), FIRST_LOOK_S
    while True:
        answer = transport.request("GET", work.links["self"])
        work = Work.of(answer.json(), answer.headers.get("etag"))
        if watch is not None:
            watch(work)
        if work.status == "completed":
            return work
        if work.ended:
            raise WorkFailed(work)
        left = timeout_s - (clock() - started)
        if left <= 0:
            raise WaitedTooLong(work, timeout_s)
        asked = asked_wait(answer)
        if asked is None:
            known = SHARE_OF_REST * work.time_left_s if work.time_left_s is not None else step
            asked = min(LONGEST_LOOK_S, max(FIRST_LOOK_S, known))
        transport.sleep(min(asked, left))
        step = min(LONGEST_LOOK_S, step * 1.5)
