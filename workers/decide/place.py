"""Were films made from one camera place? Then the errors they share drop out of a difference."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

import numpy as np

from models.contract.analysis import Analysis, Metric
from models.contract.frame_rate import rate_class
from models.contract.vocabulary import View
from workers.decide.groups import Slot

AZIMUTH_DEG = 15.0
"""Largest spread of estimated camera azimuths of one place: twice the error of an estimate, with a
tripod put back by hand."""


def one_place(analyses: Iterable[Analysis]) -> bool:
    """Return whether all films look from one place, at one class of frame rate.

    Unknown camera positions (joints from elsewhere) are never one place.
    """
    found = list(analyses)
    return len({a.view.label for a in found}) == 1 and _near(found)


def _near(found: Sequence[Analysis]) -> bool:
    """Return whether the azimuths lie close together, whatever their view is called."""
    azimuths = [a.view.azimuth_deg for a in found]
    known = [a for a in azimuths if a is not None]
    if not found or len(known) != len(azimuths) or any(a.view.label is View.UNKNOWN for a in found):
        return False
    away = [(a - known[0] + 180.0) % 360.0 - 180.0 for a in known]
    rates = {rate_class(a.clip.frame_rate) for a in found}
    scales = {a.scale.source for a in found}
    return max(away) - min(away) <= AZIMUTH_DEG and len(rates) == 1 and len(scales) == 1


def strays(analyses: Sequence[Analysis]) -> list[int]:
    """Return which few films look from elsewhere than all the others, which are of one place.

    At most a quarter of them; else there is no place that the others share.
    """
    azimuths = [a.view.azimuth_deg for a in analyses]
    known = [a for a in azimuths if a is not None]
    if len(known) < len(azimuths) or len(known) < 4:
        return []

    def beyond(middle: float) -> list[int]:
        away = [abs((a - middle + 180.0) % 360.0 - 180.0) for a in known]
        return [i for i, angle in enumerate(away) if angle > AZIMUTH_DEG]

    few = min((beyond(a) for a in known), key=len)
    rest = [a for i, a in enumerate(analyses) if i not in few]
    return few if len(few) <= len(known) / 4 and _near(rest) else []


def read_alike(analyses: Sequence[Analysis]) -> list[Analysis]:
    """Return films of one place as seen from one view, where the border of two runs through it.

    The engine takes a bias out that belongs to the named view, so a camera that has not moved would
    look like a change where its azimuth is estimated now on one side of the border, now on the
    other. The view of most films is taken for all, with the bias that is taken out there. A metric
    that is measured in two ways keeps its whole uncertainty. Other films come back as they are.
    """
    labels = Counter(a.view.label for a in analyses)
    if len(labels) < 2 or not _near(analyses):
        return list(analyses)
    label = labels.most_common(1)[0][0]
    every: dict[Slot, set[str]] = defaultdict(set)
    taken: dict[Slot, list[float]] = defaultdict(list)
    for analysis in analyses:
        for metric in _measured(analysis):
            slot = metric.key, metric.event
            every[slot].add(metric.method)
            if analysis.view.label is label:
                taken[slot].append(metric.correction or 0.0)
    return [_read_as(label, analysis, every, taken) for analysis in analyses]


def _measured(analysis: Analysis) -> list[Metric]:
    return [m for r in analysis.repetitions for m in r.metrics if m.measurable]


def _read_as(
    label: View,
    analysis: Analysis,
    methods: dict[Slot, set[str]],
    taken: dict[Slot, list[float]],
) -> Analysis:
    def read(metric: Metric) -> Metric:
        slot = metric.key, metric.event
        if not metric.measurable:
            return metric
        if len(methods[slot]) > 1 or not taken[slot]:
            return metric.model_copy(update={"repeat_sd": None, "session_sd": None})
        correction = float(np.mean(taken[slot]))
        shift = (metric.correction or 0.0) - correction
        ends = {
            name: None if end is None else end + shift
            for name, end in (("value", metric.value), ("low", metric.low), ("high", metric.high))
        }
        return metric.model_copy(update=ends | {"correction": correction})

    repetitions = tuple(
        r.model_copy(update={"metrics": tuple(read(m) for m in r.metrics)})
        for r in analysis.repetitions
    )
    view = analysis.view.model_copy(update={"label": label})
    return analysis.model_copy(update={"repetitions": repetitions, "view": view})
