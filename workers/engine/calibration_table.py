"""The calibrated errors in ``calibration.json``, which ``servewright accuracy --calibrate`` writes.

Constants that come with the package and are read once, when it is imported.

``TABLE``: (metric, view, rate, method) to (bias, sd to add, mean absolute error, count).
``EVENT_TABLE``: (event, view, rate) to (standard uncertainty in seconds, count).
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

_DATA: dict[str, Any] = json.loads(
    files("workers.engine").joinpath("calibration.json").read_text("utf-8")
)

TABLE: dict[tuple[str, str, str, str], tuple[float, float, float, int]] = {
    (name, view, rate, method): (bias, sd, mae, count)
    for name, view, rate, method, bias, sd, mae, count in _DATA["metrics"]
}

EVENT_TABLE: dict[tuple[str, str, str], tuple[float, int]] = {
    (event, view, rate): (sd, count) for event, view, rate, sd, count in _DATA["events"]
}
