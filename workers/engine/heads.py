"""Metrics from what the learned lift answers directly: mean and spread of each quantity in time.

The mean of an angle is not the angle of mean joints where the picture leaves much open; the
network therefore answers the angles themselves, each as the mean of what could be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.signal import lfilter

from models.contract.metrics.definition import metric_name
from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName
from workers.engine.lift_layout import HEADS
from workers.engine.load import time_at_or_above
from workers.engine.metrics.weight import LEVEL
from workers.engine.samples import Samples, masked_extreme

METHOD = "learned_angles"
NOISE_TIME_S = 0.15
"""Time for which the error of an answer stays alike, seconds (working value)."""


@dataclass(frozen=True, slots=True)
class HeadPaths:
    """The direct answers of one stretch.

    Attributes
    ----------
    time_s : ndarray, shape (N,)
        Even instants, seconds.
    mean, sd : ndarray, shape (N, H)
        `HEADS` in their units, and their standard deviations.
    """

    time_s: FloatArray
    mean: FloatArray
    sd: FloatArray

    def draw(self, count: int, seed: int) -> FloatArray:
        """Return paths with correlated Gaussian noise of their sd, shape (S, N, H)."""
        generator = np.random.default_rng([seed, 2])
        step = float(np.median(np.diff(self.time_s)))
        keep = float(np.exp(-step / NOISE_TIME_S))
        white = generator.standard_normal((count, *self.mean.shape))
        white[:, 1:] *= np.sqrt(1.0 - keep**2)
        noise = lfilter([1.0], [1.0, -keep], white, axis=1)
        return np.asarray(self.mean + noise * self.sd)


@dataclass(frozen=True, slots=True)
class HeadSamples:
    """Direct answers as S samples, with event times per sample; S = 1 is the best estimate.

    ``frame`` is the repetition's `Samples` of the same count, for its events and its clock.
    """

    time_s: FloatArray
    paths: FloatArray
    events: Mapping[EventName, FloatArray]
    stature_m: FloatArray

    def series(self, head: str) -> FloatArray:
        """Return one answer over time, shape (S, N)."""
        return np.asarray(self.paths[..., HEADS.index(head)])

    def when(self, event: EventName) -> FloatArray:
        """Return the time of an event per sample, seconds; NaN if not found."""
        times = self.events.get(event)
        return np.full(len(self.paths), np.nan) if times is None else times

    def at(self, head: str, event: EventName) -> FloatArray:
        """Return one answer at an event, shape (S,); linear between instants."""
        series, times = self.series(head), self.when(event)
        step = self.time_s[1] - self.time_s[0]
        place = np.clip((times - self.time_s[0]) / step, 0.0, len(self.time_s) - 1.001)
        known = np.isfinite(place)
        low = np.where(known, place, 0.0).astype(int)
        share = np.where(known, place, 0.0) - low
        row = np.arange(len(series))
        value = series[row, low] * (1.0 - share) + series[row, low + 1] * share
        return np.where(known, value, np.nan)

    def between(self, first: EventName, last: EventName, after_s: float = 0.0) -> FloatArray:
        """Return which instants lie between two events, (S, N)."""
        start, end = self.when(first)[:, None], self.when(last)[:, None] + after_s
        return np.asarray((self.time_s >= start) & (self.time_s <= end))

    def peak(self, head: str, first: EventName, last: EventName) -> tuple[FloatArray, FloatArray]:
        """Return the largest value of an answer between two events, and its time."""
        return masked_extreme(self.time_s, self.series(head), self.between(first, last))


def head_samples(paths: HeadPaths, body: Samples, joints: FloatArray) -> HeadSamples:
    """Return samples of the answers with a repetition's event times and statures.

    ``joints`` are the drawn paths (S, N, H), or the mean with S = 1.
    """
    return HeadSamples(paths.time_s, joints, body.events, body.stature_m)


HeadFormula = Callable[[HeadSamples], FloatArray]

_SET, _LOAD, _END = EventName.SET_UP, EventName.LOADING, EventName.FINISH
_TROPHY, _CONTACT, _RELEASE = EventName.TROPHY, EventName.CONTACT, EventName.RELEASE


def _at(body: HeadSamples, head: str, event: EventName) -> FloatArray:
    return body.at(head, event)


def _gain(body: HeadSamples, head: str) -> FloatArray:
    return np.asarray(body.at(head, _LOAD) - body.at(head, _SET))


def _loss(body: HeadSamples, head: str) -> FloatArray:
    return np.asarray(body.at(head, _SET) - body.at(head, _LOAD))


def _turn_peak(body: HeadSamples, head: str) -> FloatArray:
    return np.asarray(body.peak(head, _SET, _CONTACT)[0] - body.at(head, _SET))


def _tilt_change(body: HeadSamples) -> FloatArray:
    return np.asarray(body.at("shoulder_tilt", _TROPHY) - body.at("shoulder_tilt", _CONTACT))


def _ratio(body: HeadSamples) -> FloatArray:
    bent = (_gain(body, "front_knee") + _gain(body, "rear_knee")) / 2.0
    return np.asarray(_gain(body, "pelvis_since") / np.where(bent >= 10.0, bent, np.nan))


def _peak(body: HeadSamples, head: str, first: EventName, last: EventName) -> FloatArray:
    return body.peak(head, first, last)[0]


def _before_contact(body: HeadSamples) -> FloatArray:
    return np.asarray(body.when(_CONTACT) - body.peak("load", _RELEASE, _LOAD)[1])


def _time_loaded(body: HeadSamples, last: EventName, after_s: float) -> FloatArray:
    share = np.where(body.between(_SET, last, after_s), body.series("load"), np.nan)
    return time_at_or_above(body.time_s, share, LEVEL)


def _held_load(body: HeadSamples) -> FloatArray:
    inside = body.between(_SET, _END)
    count = inside.sum(axis=1)
    total = np.where(inside, body.series("load"), 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _ahead(body: HeadSamples) -> FloatArray:
    return np.asarray(body.at("wrist_ahead", _CONTACT) * body.stature_m)


_AT_EVENTS = {
    "front_knee_flexion": "front_knee",
    "rear_knee_flexion": "rear_knee",
    "elbow_flexion": "elbow",
    "shoulder_elevation": "shoulder_elevation",
    "tossing_arm_elevation": "tossing_arm",
    "shoulder_line_tilt": "shoulder_tilt",
    "trunk_inclination": "trunk_inclination",
    "trunk_lateral_tilt": "trunk_lateral",
    "trunk_backward_tilt": "trunk_backward",
    "hip_shoulder_separation": "separation",
}


def _formulas() -> dict[str, HeadFormula]:
    found: dict[str, HeadFormula] = {
        metric_name(key, event): partial(_at, head=head, event=event)
        for key, head in _AT_EVENTS.items()
        for event in EventName
    }
    for line in ("pelvis", "shoulder", "knee"):
        found |= {
            metric_name(f"{line}_turn", _LOAD): partial(_gain, head=f"{line}_since"),
            f"{line}_turn_peak": partial(_turn_peak, head=f"{line}_since"),
            metric_name(f"{line}_turn_absolute", _LOAD): partial(
                _at, head=f"{line}_absolute", event=_LOAD
            ),
        }
    load = {
        "rear_foot_load_share": "load",
        "front_hip_advance": "front_hip_ahead",
    }
    found |= {metric_name(k, _LOAD): partial(_at, head=h, event=_LOAD) for k, h in load.items()}
    return found | {
        "hip_shoulder_separation_peak": partial(
            _peak, head="separation", first=_RELEASE, last=_CONTACT
        ),
        metric_name("turn_to_bend_ratio", _LOAD): _ratio,
        "shoulder_over_shoulder": _tilt_change,
        "rear_foot_load_share_peak": partial(_peak, head="load", first=_RELEASE, last=_LOAD),
        "most_loaded_before_contact": _before_contact,
        "rear_load_time_60": partial(_time_loaded, last=_LOAD, after_s=0.2),
        "hold_rear_load_time_60": partial(_time_loaded, last=_END, after_s=0.0),
        "hold_rear_foot_load_share": _held_load,
        metric_name("contact_height_ratio", _CONTACT): partial(
            _at, head="contact_height", event=_CONTACT
        ),
        metric_name("contact_forward", _CONTACT): _ahead,
        metric_name("toss_release_height", _RELEASE): partial(
            _at, head="tossing_height", event=_RELEASE
        ),
        metric_name("rear_hip_drop", _LOAD): partial(_loss, head="rear_hip_height"),
        metric_name("rear_hip_setback", _LOAD): partial(_loss, head="rear_hip_place"),
    }


HEAD_FORMULAS: Mapping[str, HeadFormula] = _formulas()
"""By `MetricSpec.name`; a metric without one is measured from joints."""

METRIC_OF_HEAD: Mapping[str, str] = {
    **{head: key for key, head in _AT_EVENTS.items()},
    "pelvis_since": "pelvis_turn",
    "shoulder_since": "shoulder_turn",
    "knee_since": "knee_turn",
    "pelvis_absolute": "pelvis_turn_absolute",
    "shoulder_absolute": "shoulder_turn_absolute",
    "knee_absolute": "knee_turn_absolute",
    "load": "rear_foot_load_share",
    "contact_height": "contact_height_ratio",
    "wrist_ahead": "contact_forward",
    "rear_hip_place": "rear_hip_setback",
    "front_hip_ahead": "front_hip_advance",
    "tossing_height": "toss_release_height",
}
"""The metric that rests on each answer; those that are changes since set-up rest on two."""
