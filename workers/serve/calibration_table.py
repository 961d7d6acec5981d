"""Calibrated errors per (metric, view, rate): sd to add, mean absolute error, count. Generated."""

from __future__ import annotations

TABLE: dict[tuple[str, str, str], tuple[float, float, int]] = {}

EVENT_TABLE: dict[tuple[str, str, str], tuple[float, int]] = {}
