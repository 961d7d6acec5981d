"""Calibrated errors. Generated, not edited."""

from __future__ import annotations

TABLE: dict[tuple[str, str, str, str], tuple[float, float, int]] = {}

EVENT_TABLE: dict[tuple[str, str, str], tuple[float, int]] = {}
