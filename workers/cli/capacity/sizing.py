"""From a load to a size: a first guess by closed forms, then the model until it holds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from workers.cli.capacity.measured import RECEIVER_S, LoadCosts
from workers.cli.capacity.scenario import (
    HEARTBEAT_S,
    HOUR_S,
    PEAK_SHARE,
    POLL_S,
    SENDER_SLOTS,
    TRANSACTIONS,
    LoadOutcome,
    Size,
    simulate,
)
from workers.cli.capacity.theory import servers_needed

FULL = 0.7
"""Use up to which API, database and senders are planned for (common practice, no source)."""
LATE = 0.05
"""Share of clips that may wait longer than the target."""
ENOUGH_CLIPS = 8_000
"""The busiest hour is cut short where it would bring more clips: the model takes long."""
SHORTEST_S = 600.0
"""Least simulated time, seconds (working value)."""
STEP = 1.05
"""Workers are added by a twentieth until the model holds."""


def size_for(clips_a_day: float, measured: LoadCosts, target_s: float = 60.0) -> Size:
    """Return the smallest size that keeps the target in the model."""
    rate = clips_a_day * PEAK_SHARE / HOUR_S
    service = float(np.mean(measured.analysis_s))
    workers = servers_needed(rate, service, target_s, LATE)
    transaction = float(np.mean(measured.transaction_s))
    changes = TRANSACTIONS + service / HEARTBEAT_S
    asked = float(np.mean(measured.status_s)) * (service + target_s / 2.0) / POLL_S
    api = rate * (float(np.mean(measured.upload_s)) + asked)
    sender = rate * 2.0 * (RECEIVER_S + 2.0 * transaction)
    size = Size(
        workers=workers,
        api_processes=max(1, math.ceil(max(api, sender / SENDER_SLOTS) / FULL)),
        database_connections=max(1, math.ceil(rate * changes * transaction / FULL)),
    )
    while outcome(clips_a_day, size, measured).wait_p95_s > target_s:
        size = replace(size, workers=max(size.workers + 1, math.ceil(size.workers * STEP)))
    return size


def outcome(clips_a_day: float, size: Size, measured: LoadCosts) -> LoadOutcome:
    """Simulate the busiest hour, or as much of it as brings enough clips."""
    rate = clips_a_day * PEAK_SHARE / HOUR_S
    seconds = min(HOUR_S, max(SHORTEST_S, ENOUGH_CLIPS / rate))
    return simulate(clips_a_day, size, measured, seconds=seconds)
