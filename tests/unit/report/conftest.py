"""Finished results built from the exact truth of two rendered clips (tests/data/report, CC0)."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from models.contract.analysis import Analysis, Event, Metric, Repetition, Scale, ViewEstimate
from models.contract.clip import ClipFacts, Usability
from models.contract.skeleton import CANONICAL_BODY, LANDMARKS, counterpart
from models.contract.tracks import BodyMotion, Camera, JointTrack
from models.contract.vocabulary import (
    EventName,
    Handedness,
    RepetitionKind,
    View,
)

DATA = Path(__file__).resolve().parents[2] / "data" / "report"

EVENTS = {
    EventName.SET_UP: "start",
    EventName.RELEASE: "release",
    EventName.LOADING: "lowest_pelvis",
    EventName.TROPHY: "trophy",
    EventName.RACKET_LOW: "racket_low",
    EventName.CONTACT: "contact",
    EventName.FINISH: "finish",
}

# key, event, key in the truth, event in the truth, unit, half-width of the interval made up here
METRICS = (
    ("rear_foot_load_share", EventName.LOADING, "rear_load_share", "lowest_pelvis", "1", 0.06),
    ("pelvis_turn", EventName.LOADING, "pelvis_turn", "lowest_pelvis", "deg", 7.0),
    ("shoulder_turn", EventName.LOADING, "shoulder_turn", "lowest_pelvis", "deg", 6.0),
    ("front_knee_flexion", EventName.TROPHY, "front_knee_flexion", "trophy", "deg", 4.4),
    ("rear_knee_flexion", EventName.TROPHY, "rear_knee_flexion", "trophy", "deg", 6.0),
    ("shoulder_line_tilt", EventName.TROPHY, "shoulder_tilt", "trophy", "deg", 5.0),
    ("hip_shoulder_separation", EventName.TROPHY, "separation", "trophy", "deg", 8.0),
    ("trunk_inclination", EventName.TROPHY, "trunk_inclination", "trophy", "deg", 3.0),
    ("shoulder_line_tilt", EventName.CONTACT, "shoulder_tilt", "contact", "deg", 6.0),
    ("trunk_inclination", EventName.CONTACT, "trunk_inclination", "contact", "deg", 4.0),
    ("elbow_flexion", EventName.CONTACT, "hitting_elbow_flexion", "contact", "deg", 9.0),
    ("shoulder_elevation", EventName.CONTACT, "shoulder_elevation", "contact", "deg", 8.0),
)

# de Leva 1996, J Biomech 29(9), Table 4, male, keypoint-friendly endpoints: mass %, centre %.
SEGMENTS = (
    ("head", "neck", 6.94, 50.0),
    ("mid_shoulder", "mid_hip", 43.46, 43.10),
    ("shoulder", "elbow", 2.71, 57.72),
    ("elbow", "wrist", 1.62 + 0.61, 45.74),
    ("hip", "knee", 14.16, 40.95),
    ("knee", "ankle", 4.33, 43.95),
    ("heel", "toe", 1.37, 44.15),
)

TURN_AT_SET_UP = {"pelvis_turn", "shoulder_turn"}


@dataclass(frozen=True)
class Case:
    """One finished analysis with everything the pictures need."""

    truth: dict[str, Any]
    analysis: Analysis
    track: JointTrack
    body: BodyMotion
    centre_of_mass: np.ndarray
    frames: dict[int, np.ndarray]
    share: np.ndarray
    per_frame: dict[str, np.ndarray]


def load(name: str) -> Case:
    truth = json.loads((DATA / f"{name}.json").read_text())
    with np.load(DATA / f"{name}.npz") as arrays:
        xy, xyz, share = arrays["xy"], arrays["xyz"].astype(float), arrays["share"]
        per_frame = {key: arrays[key] for key in arrays.files if key not in ("xy", "xyz")}
    frames = {
        int(path.stem.rsplit("-", 1)[1]): np.asarray(Image.open(path))
        for path in DATA.glob(f"{name}-*.jpg")
    }
    count = len(xy)
    time_s = np.arange(count) / truth["fps"]
    body = _body(truth, xyz, time_s)
    return Case(
        truth=truth,
        analysis=_analysis(truth, count),
        track=_track(truth, xy, time_s),
        body=body,
        centre_of_mass=_centre_of_mass(body),
        frames=frames,
        share=share,
        per_frame=per_frame,
    )


def _track(truth: dict[str, Any], xy: np.ndarray, time_s: np.ndarray) -> JointTrack:
    names = truth["joint_names"]
    count = len(xy)
    points = np.full((count, 33, 2), np.nan)
    for i, name in enumerate(LANDMARKS):
        source = name.replace("foot_index", "toe")
        if source in names:
            points[:, i] = xy[:, names.index(source)]
    return JointTrack(
        time_s=time_s,
        frame_index=np.arange(count),
        xy=points,
        xy_raw=points,
        confidence=np.where(np.isfinite(points[..., 0]), 0.95, np.nan),
        world=np.full((count, 33, 3), np.nan),
        score=np.ones(count),
        disagreement_px=np.full((count, 33), np.nan),
        width=truth["width"],
        height=truth["height"],
        people=np.ones(count, dtype=int),
    )


def _body(truth: dict[str, Any], xyz: np.ndarray, time_s: np.ndarray) -> BodyMotion:
    left = truth["handedness"] == "left"
    joints = np.empty((len(xyz), len(CANONICAL_BODY), 3))
    for i, name in enumerate(CANONICAL_BODY):
        source = counterpart(name, left_handed=left)
        joints[:, i] = xyz[:, truth["joint_names"].index(source)]
    mirror = np.diag([1.0, -1.0 if left else 1.0, 1.0])
    camera = truth["camera"]
    return BodyMotion(
        time_s=time_s,
        frame_index=np.arange(len(xyz)),
        joints=joints @ mirror,
        sd=np.full(joints.shape, 0.02),
        mirrored=left,
        stature_m=truth["body_height_m"],
        method="kinematic_fit",
        camera=Camera(np.array(camera["K"]), np.array(camera["R"]) @ mirror, np.array(camera["t"])),
    )


def _centre_of_mass(body: BodyMotion) -> np.ndarray:
    at = body.joint
    whole = {
        "head": CANONICAL_BODY.middle(body.joints, "ear"),
        "neck": CANONICAL_BODY.middle(body.joints, "shoulder"),
        "mid_shoulder": CANONICAL_BODY.middle(body.joints, "shoulder"),
        "mid_hip": CANONICAL_BODY.middle(body.joints, "hip"),
    }
    total = np.zeros((len(body), 3))
    mass = 0.0
    for first, second, percent, centre in SEGMENTS:
        one = (whole[first],) if first in whole else map(at, CANONICAL_BODY.both(first))
        two = (whole[second],) if second in whole else map(at, CANONICAL_BODY.both(second))
        for a, b in zip(one, two, strict=True):
            total += percent * (a + centre / 100 * (b - a))
            mass += percent
    return total / mass


def _analysis(truth: dict[str, Any], count: int) -> Analysis:
    serve = truth["serves"][0]
    times, frames = serve["event_times_s"], serve["event_frames"]
    metrics = []
    for key, event, true_key, true_event, unit, half in METRICS:
        value = serve["metrics"][true_event][true_key]
        if key in TURN_AT_SET_UP:
            value -= 80.0
        metrics.append(
            Metric(
                key=key, title=key, event=event, value=value, low=value - half,
                high=value + half, unit=unit, measurable=True, reason=None,
                method="kinematic_fit", reference=None,
            )
        )  # fmt: skip
    metrics.append(
        Metric(
            key="contact_forward", title="Contact forward", event=EventName.CONTACT, value=None,
            low=None, high=None, unit="m", measurable=False,
            reason="The target direction is not known well enough; film from the side.",
            method="kinematic_fit", reference=None,
        )
    )  # fmt: skip
    return Analysis(
        clip=ClipFacts(
            duration_s=count / truth["fps"], frame_rate=truth["fps"], frames=count,
            width=truth["width"], height=truth["height"],
        ),
        view=ViewEstimate(label=View(truth["view"].replace("-", "_"))),
        handedness=Handedness(truth["handedness"]),
        scale=Scale(metres_per_body_height=truth["body_height_m"], source="given"),
        usability=Usability(usable=True),
        repetitions=(
            Repetition(
                kind=RepetitionKind.SERVE, start_s=times["start"], end_s=times["finish"],
                confidence=0.97, metrics=tuple(metrics),
                events={
                    event: Event(
                        time_s=times[name], frame=frames[name], uncertainty_s=0.008,
                        confidence=0.95,
                    )
                    for event, name in EVENTS.items()
                },
            ),
        ),
        engine_version="0.1.0",
    )  # fmt: skip


@pytest.fixture(scope="session")
def right_side() -> Case:
    return load("right_side")


@pytest.fixture(scope="session")
def left_front_quarter() -> Case:
    return load("left_front_quarter")
