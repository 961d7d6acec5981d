"""Read the true events and metrics of a clip from its ground-truth document.

The document (format ``serveclips-truth-1``) names some things otherwise than the contract does
and counts turns from the net, not from set-up; this module translates, and computes nothing about
bodies.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.contract.tracks import FloatArray
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from workers.engine.view import view_of

FORMAT = "serveclips-truth-1"
EVENTS: dict[str, EventName] = {
    "start": EventName.SET_UP,
    "release": EventName.RELEASE,
    "lowest_pelvis": EventName.LOADING,
    "trophy": EventName.TROPHY,
    "racket_low": EventName.RACKET_LOW,
    "contact": EventName.CONTACT,
    "finish": EventName.FINISH,
}
_AT: dict[str, str] = {
    "rear_foot_load_share@loading": "lowest_pelvis.rear_load_share",
    "front_knee_flexion@trophy": "trophy.front_knee_flexion",
    "front_knee_flexion@loading": "lowest_pelvis.front_knee_flexion",
    "front_knee_flexion@contact": "contact.front_knee_flexion",
    "rear_knee_flexion@trophy": "trophy.rear_knee_flexion",
    "rear_knee_flexion@loading": "lowest_pelvis.rear_knee_flexion",
    "rear_knee_flexion@contact": "contact.rear_knee_flexion",
    "pelvis_turn_absolute@loading": "lowest_pelvis.pelvis_turn",
    "shoulder_turn_absolute@loading": "lowest_pelvis.shoulder_turn",
    "knee_turn_absolute@loading": "lowest_pelvis.knee_turn",
    "hip_shoulder_separation@trophy": "trophy.separation",
    "hip_shoulder_separation@loading": "lowest_pelvis.separation",
    "shoulder_line_tilt@trophy": "trophy.shoulder_tilt",
    "shoulder_line_tilt@contact": "contact.shoulder_tilt",
    "trunk_inclination@trophy": "trophy.trunk_inclination",
    "trunk_inclination@contact": "contact.trunk_inclination",
    "elbow_flexion@trophy": "trophy.hitting_elbow_flexion",
    "elbow_flexion@racket_low": "racket_low.hitting_elbow_flexion",
    "elbow_flexion@contact": "contact.hitting_elbow_flexion",
    "shoulder_elevation@trophy": "trophy.shoulder_elevation",
    "shoulder_elevation@contact": "contact.shoulder_elevation",
    "contact_height_ratio@contact": "serve.contact_wrist_height_ratio",
}
# name of ours: path in the "measures" block, factor
_MEASURES: dict[str, tuple[str, float]] = {
    "rear_foot_load_share_dynamic@loading": ("rear_foot_load_share.dynamic", 1.0),
    "rear_foot_load_share_foot_centre@loading": ("rear_foot_load_share.foot_centres", 1.0),
    "rear_hip_drop@loading": ("rear_hip_drop.loading", 1.0),
    "rear_hip_setback@loading": ("rear_hip_setback.loading", 1.0),
    "front_hip_advance@loading": ("front_hip_advance.loading", 1.0),
    "turn_to_bend_ratio@loading": ("turn_to_bend_ratio.loading", 1.0),
    "pelvis_turn_peak": ("pelvis_turn.peak", 1.0),
    "shoulder_turn_peak": ("shoulder_turn.peak", 1.0),
    "knee_turn_peak": ("knee_turn.peak", 1.0),
    "hip_shoulder_separation_peak": ("hip_shoulder_separation.peak", 1.0),
    "front_knee_extension_speed": ("knee_extension_speed.front", 1.0),
    "rear_knee_extension_speed": ("knee_extension_speed.rear", 1.0),
    "trunk_backward_tilt@trophy": ("trunk_lean.trophy", -1.0),
    "trunk_backward_tilt@contact": ("trunk_lean.contact", -1.0),
    "trunk_lateral_tilt@trophy": ("trunk_lateral_tilt.trophy", 1.0),
    "trunk_lateral_tilt@contact": ("trunk_lateral_tilt.contact", 1.0),
    "contact_forward@contact": ("contact_forward.contact", 1.0),
    "leg_drive_speed": ("leg_drive_speed.peak", 1.0),
    "wrist_speed_peak": ("wrist_speed_peak.peak", 1.0),
    "toss_release_height@release": ("toss_release_height.release", 1.0),
    "tossing_arm_elevation@release": ("tossing_arm_elevation.release", 1.0),
    "tossing_arm_elevation@trophy": ("tossing_arm_elevation.trophy", 1.0),
    "throw_elevation@contact": ("throw_elevation.contact", 1.0),
    "sequence_pelvis": ("sequence.pelvis_time_s", 1e3),
    "sequence_trunk": ("sequence.trunk_time_s", 1e3),
    "sequence_upper_arm": ("sequence.upper_arm_time_s", 1e3),
    "sequence_forearm": ("sequence.forearm_time_s", 1e3),
    "pelvis_rotation_speed_peak": ("sequence.pelvis_peak_deg_s", 1.0),
    "trunk_rotation_speed_peak": ("sequence.trunk_peak_deg_s", 1.0),
}
_TEMPO: dict[str, tuple[EventName, EventName]] = {
    "tempo": (EventName.SET_UP, EventName.CONTACT),
    "tempo_set_up_release": (EventName.SET_UP, EventName.RELEASE),
    "tempo_release_trophy": (EventName.RELEASE, EventName.TROPHY),
    "tempo_trophy_contact": (EventName.TROPHY, EventName.CONTACT),
}


@dataclass(frozen=True, slots=True)
class TrueRepetition:
    """Events in seconds and metrics by `MetricSpec.name`."""

    kind: RepetitionKind
    events: Mapping[EventName, float]
    metrics: Mapping[str, float]

    @property
    def anchor_s(self) -> float:
        """The instant repetitions are matched by: contact, else loading."""
        return self.events.get(EventName.CONTACT, self.events.get(EventName.LOADING, 0.0))


@dataclass(frozen=True, slots=True)
class ClipTruth:
    """What is known of a clip; ``time_scale`` > 1: the file plays that many times slower."""

    name: str
    fps: float
    time_s: FloatArray
    view: View
    azimuth_deg: float
    handedness: Handedness
    stature_m: float
    time_scale: float
    repetitions: tuple[TrueRepetition, ...]

    @property
    def serves(self) -> tuple[TrueRepetition, ...]:
        """The serves among the repetitions."""
        return tuple(r for r in self.repetitions if r.kind is RepetitionKind.SERVE)


def read_truth(document: Mapping[str, Any], name: str = "") -> ClipTruth:
    """Return the truth of a clip.

    Raises
    ------
    ValueError
        If the document is of another format.
    """
    if document.get("format") != FORMAT:
        raise ValueError(f"not a {FORMAT} document")
    fps = float(document["fps"])
    given = document.get("frame_times_s")
    times = np.arange(int(document["n_frames"])) / fps if given is None else np.asarray(given)
    blocks = [(RepetitionKind.SERVE, block) for block in document["serves"]]
    blocks += [
        (RepetitionKind(block["kind"]), block) for block in document.get("other_repetitions", ())
    ]
    azimuth = float(document["camera"]["azimuth_deg"])
    repetitions = [_repetition(kind, block, document, times) for kind, block in blocks]
    return ClipTruth(
        name=name or str(document.get("clip", "")),
        fps=fps,
        time_s=times,
        view=_view(document, azimuth),
        azimuth_deg=azimuth,
        handedness=Handedness(document["handedness"]),
        stature_m=float(document["body_height_m"]),
        time_scale=float(document.get("time_scale") or 1.0),
        repetitions=tuple(sorted(repetitions, key=lambda r: r.anchor_s)),
    )


def _view(document: Mapping[str, Any], azimuth: float) -> View:
    name = str(document["camera"].get("view", "")).replace("-", "_")
    try:
        return View(name)
    except ValueError:
        return view_of(azimuth)


def _repetition(
    kind: RepetitionKind, block: Mapping[str, Any], document: Mapping[str, Any], times: FloatArray
) -> TrueRepetition:
    events = {
        EVENTS[key]: float(value)
        for key, value in block["event_times_s"].items()
        if key in EVENTS and value is not None
    }
    metrics: dict[str, float] = {}
    for name, path in _AT.items():
        _put(metrics, name, _dig(block.get("metrics", {}), path))
    for name, (path, factor) in _MEASURES.items():
        found = _dig(block.get("measures", {}), path)
        _put(metrics, name, None if found is None else factor * found)
    for name, (first, last) in _TEMPO.items():
        if first in events and last in events:
            metrics[name] = events[last] - events[first]
    frames = document.get("frame_metrics", {})
    if EventName.SET_UP in events:
        for part in ("pelvis", "shoulder", "knee"):
            end = metrics.get(f"{part}_turn_absolute@loading")
            series = frames.get(f"{part}_turn")
            if end is not None and series is not None:
                start = float(np.interp(events[EventName.SET_UP], times, np.asarray(series)))
                metrics[f"{part}_turn@loading"] = (end - start + 180.0) % 360.0 - 180.0
    tilt = [metrics.get(f"shoulder_line_tilt@{event}") for event in ("trophy", "contact")]
    if tilt[0] is not None and tilt[1] is not None:
        metrics["shoulder_over_shoulder"] = tilt[0] - tilt[1]
    return TrueRepetition(kind, events, metrics)


def _put(metrics: dict[str, float], name: str, value: float | None) -> None:
    if value is not None and np.isfinite(value):
        metrics[name] = value


def _dig(block: Mapping[str, Any], path: str) -> float | None:
    value: Any = block
    for key in path.split("."):
        if not isinstance(value, Mapping) or key not in value:
            return None
        value = value[key]
    return None if value is None else float(value)
