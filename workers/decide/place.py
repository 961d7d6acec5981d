"""Were films made from one camera place? Then the errors they share drop out of a difference."""

from __future__ import annotations

from collections.abc import Iterable

from models.contract.analysis import Analysis
from models.contract.vocabulary import View

AZIMUTH_DEG = 15.0
"""Largest spread of estimated camera azimuths of one place: twice the error of an estimate, with a
tripod put back by hand."""
LOW_RATE_FPS = 45.0
"""Films below and above it err differently."""


def one_place(analyses: Iterable[Analysis]) -> bool:
    """Return whether all films look from one place, at one class of frame rate.

    Unknown camera positions (joints from elsewhere) are never one place.
    """
    found = list(analyses)
    views = {a.view.label for a in found}
    azimuths = [a.view.azimuth_deg for a in found]
    known = [a for a in azimuths if a is not None]
    if not found:
        return False
    if len(views) != 1 or View.UNKNOWN in views or len(known) != len(azimuths):
        return False
    away = [(a - known[0] + 180.0) % 360.0 - 180.0 for a in known]
    rates = {a.clip.frame_rate < LOW_RATE_FPS for a in found}
    scales = {a.scale.source for a in found}
    return max(away) - min(away) <= AZIMUTH_DEG and len(rates) == 1 and len(scales) == 1
