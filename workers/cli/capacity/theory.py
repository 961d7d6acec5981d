"""Closed forms of queueing theory: what the model is checked against, and a first size.

Poisson arrivals at a rate, c servers, exponential service of a mean length; Erlang's second
formula (Queueing Systems, volume 1, Wiley 1975, chapter 3; from memory).
"""

from __future__ import annotations

import math


def waiting_probability(servers: int, load: float) -> float:
    """Return the probability that an arrival must wait (Erlang C).

    Parameters
    ----------
    servers : int
    load : float
        Arrival rate times mean service time, erlang; 1 from ``servers`` on.
    """
    if load >= servers:
        return 1.0
    if load <= 0.0:
        return 0.0
    lost = 1.0  # Erlang B, by its recursion, which does not overflow
    for count in range(1, servers + 1):
        lost = load * lost / (count + load * lost)
    return lost / (1.0 - load / servers * (1.0 - lost))


def mean_wait_s(servers: int, rate: float, service_s: float) -> float:
    """Return the mean time in the queue, seconds; infinite when it grows without end."""
    load = rate * service_s
    if load >= servers:
        return math.inf
    return waiting_probability(servers, load) * service_s / (servers - load)


def late_share(servers: int, rate: float, service_s: float, limit_s: float) -> float:
    """Return the share of arrivals that wait longer than a limit."""
    load = rate * service_s
    if load >= servers:
        return 1.0
    return waiting_probability(servers, load) * math.exp(-(servers - load) * limit_s / service_s)


def servers_needed(rate: float, service_s: float, limit_s: float, late: float) -> int:
    """Return the fewest servers with which at most a share ``late`` waits longer than a limit."""
    servers = max(1, math.ceil(rate * service_s))
    while late_share(servers, rate, service_s, limit_s) > late:
        servers += 1
    return servers
