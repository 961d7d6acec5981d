"""Kinematic fit: one articulated body over a whole serve from one camera."""

from __future__ import annotations

from workers.engine.fit.result import ClipContext, FitResult
from workers.engine.fit.run import fit_body

__all__ = ["ClipContext", "FitResult", "fit_body"]
