"""The films of the club's story: one player before coaching, on the coach's day, a week later.

Indices 0 and 1 are the baseline, 2 and 3 the coach's session, 4 and 5 the retention check a week
later, 6 a static hold, 7 a slow shadow repetition, 8 upward throws. Player and change are invented:
more weight over the rear foot, hips and shoulders that turn instead of a mere squat, a steeper
shoulder line; a week later most of it is still there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .camera import CameraSpec
from .clips import ClipSpec
from .knobs import ServeKnobs

BEFORE = ServeKnobs(
    rear_share=0.42,
    knee_front=48.0,
    knee_rear=46.0,
    pelvis_turn=84.0,
    knee_turn=0.0,
    separation=12.0,
    shoulder_tilt=12.0,
    trophy_lean=2.0,
    trophy_arch=4.0,
    elbow_trophy=96.0,
    contact_tilt=26.0,
    setup_turn=82.0,
    tempo=0.9,
    shape_spread=2.0,
)
COACHED = BEFORE.changed(
    rear_share=0.64,
    knee_front=66.0,
    knee_rear=64.0,
    pelvis_turn=106.0,
    knee_turn=9.0,
    separation=22.0,
    shoulder_tilt=28.0,
    trophy_lean=8.0,
    trophy_arch=7.0,
    contact_tilt=34.0,
)
KEPT = 0.85
"""Share of the change that is left a week later."""
_DRILLS = {6: "hold", 7: "shadow", 8: "throw"}
_MOVED = (
    "rear_share",
    "knee_front",
    "knee_rear",
    "pelvis_turn",
    "knee_turn",
    "separation",
    "shoulder_tilt",
    "trophy_lean",
    "trophy_arch",
    "contact_tilt",
)


def _knobs(index: int) -> ServeKnobs:
    if index < 2:
        return BEFORE
    if index in (4, 5):
        return BEFORE.changed(
            **{
                name: (1.0 - KEPT) * getattr(BEFORE, name) + KEPT * getattr(COACHED, name)
                for name in _MOVED
            }
        )
    return COACHED


def story_clip(rng: np.random.Generator, name: str) -> ClipSpec:
    """One film of the story; serves differ a little, as serves do."""
    index, seed = int(name), int(rng.integers(1 << 31))
    own = np.random.default_rng([seed, index])
    knobs = _knobs(index)
    wobble = {key: getattr(knobs, key) + own.normal(0, 1.0) for key in ("knee_front", "knee_rear")}
    wobble |= {"rear_share": knobs.rear_share + own.normal(0, 0.01)}
    camera = CameraSpec(
        azimuth=90.0 + float(own.normal(0, 2.0)),
        height=1.3,
        distance=8.0,
        roll=float(own.normal(0, 0.5)),
        fill=0.9,
        shift=0.0,
        jitter=0.0,
        jitter_seed=0,
    )
    return ClipSpec(
        name=name,
        kind=_DRILLS.get(index, "serve"),
        seed=seed,
        knobs=replace(knobs, shape_seed=int(own.integers(1 << 31)), **wobble),
        camera=camera,
        fps=30.0 if _DRILLS.get(index) in ("hold", "shadow") else 60.0,
        size=(640, 480),
        count=2 if index == 8 else 1,
        crf=24,
        background="court",
        start=0.4,
        hold=2.5,
        slow=2.0,
        throw_elevation=62.0,
    )
