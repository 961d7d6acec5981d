"""True values of metrics that the truth documents do not name, from their frames and events.

Read from the series of each frame (`frame_metrics`), which were computed without the engine; the
windows are those of the metrics' definitions.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from models.training.load_truth import add_load_truth
from workers.engine.truth import ClipTruth, TrueRepetition, read_truth

Array = np.ndarray[Any, np.dtype[Any]]

_PARTS = ("pelvis", "trunk", "upper_arm", "forearm")


def full_truth(document: dict[str, Any], name: str) -> ClipTruth:
    """Return what is known of a clip, with the values that the document does not name."""
    document = add_load_truth(document)
    truth = read_truth(document, name)
    blocks = [*document["serves"], *document.get("other_repetitions", ())]
    repetitions = [
        replace(known, metrics={**_values(document, truth.time_s, block, known), **known.metrics})
        for known in truth.repetitions
        for block in blocks
        if _same(block, known)
    ]
    if len(repetitions) != len(truth.repetitions):
        raise ValueError(f"{name}: repetitions and their blocks do not belong together")
    return replace(truth, repetitions=tuple(repetitions))


def _same(block: dict[str, Any], known: TrueRepetition) -> bool:
    times = block["event_times_s"]
    anchor = times.get("contact", times.get("lowest_pelvis"))
    return bool(abs(float(anchor) - known.anchor_s) < 1e-6)


def _values(
    document: dict[str, Any], time_s: Array, block: dict[str, Any], known: TrueRepetition
) -> dict[str, float]:
    times = {key: float(v) for key, v in block["event_times_s"].items() if v is not None}
    series = {key: np.asarray(v, float) for key, v in document["frame_metrics"].items()}
    split = series["separation"]
    values: dict[str, float] = {}
    if "hold_start" in times:
        values["hold_duration"] = times["hold_end"] - times["hold_start"]
        return values
    if "release" in times:
        to_contact = (time_s >= times["release"]) & (time_s <= times["contact"])
        values["hip_shoulder_separation_peak"] = float(np.max(split[to_contact]))
    peaks = [known.metrics.get(f"sequence_{part}") for part in _PARTS]
    if all(peak is not None for peak in peaks):
        for first, second in pairwise(_PARTS):
            gap = known.metrics[f"sequence_{second}"] - known.metrics[f"sequence_{first}"]
            values[f"sequence_gap_{first}_{second}"] = gap
    return values
