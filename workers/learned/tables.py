"""Calibration, shares and landmark errors from the bytes of their JSON files."""

from __future__ import annotations

import json
from types import MappingProxyType

from workers.engine.calibration import Calibration
from workers.engine.event_errors import EventErrors
from workers.engine.fit.offsets import LandmarkErrors


def calibration(errors: bytes, shares: bytes) -> Calibration:
    """Return what is known of errors on film.

    Parameters
    ----------
    errors : bytes
        ``calibration.json``: rows of ``metrics`` (metric of a kind of work, view, rate, method,
        and the values of `Residual`) and ``events`` (event, view, rate, sd in seconds, count).
    shares : bytes
        ``repeat_shares.json``: rows of ``shares`` (metric, view or "any", the four values of
        `RepeatShares`, count of players).
    """
    table = json.loads(errors)
    return Calibration(
        metrics=MappingProxyType(
            {
                (name, view, rate, method): tuple(values)
                for name, view, rate, method, *values in table["metrics"]
            }
        ),
        events=MappingProxyType(
            {(event, view, rate): (sd, count) for event, view, rate, sd, count in table["events"]}
        ),
        shares=MappingProxyType(
            {
                (name, view): (session, serve, shown, usually, players)
                for name, view, session, serve, shown, usually, players in json.loads(shares)[
                    "shares"
                ]
            }
        ),
    )


def landmark_errors(data: bytes) -> LandmarkErrors:
    """Return where the pose networks put their landmarks, from ``landmark_errors.json``."""
    table = json.loads(data)
    return LandmarkErrors(
        offsets=MappingProxyType(table["offsets"]),
        sd=MappingProxyType(table["landmark_sd"]),
        depth=MappingProxyType(
            {(a, b): (gain, offset, sd) for a, b, gain, offset, sd in table["depth"]}
        ),
    )


def event_errors(data: bytes) -> EventErrors:
    """Return how far off event times are, from ``event_errors.json``: rows of (event, main source,
    rate, bias in seconds, factor on the standard uncertainty, share within, count).
    """
    return EventErrors(
        MappingProxyType(
            {
                (event, source, float(rate)): (bias, factor, share, int(count))
                for event, source, rate, bias, factor, share, count in json.loads(data)["events"]
            }
        )
    )
