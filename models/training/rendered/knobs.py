"""The knobs of a serve: one value each, sampled from published ranges where there are any.

Ranges: knee flexion and trunk inclination at trophy, shoulder elevation and elbow flexion at
contact follow the pooled means and spreads of Front Sports Act Living 2024, doi
10.3389/fspor.2024.1432030; the rest are working values (common practice, no source).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

ARM_PATTERNS = ("pendulum", "abbreviated", "high_elbow", "pause")


@dataclass(frozen=True)
class ServeKnobs:
    """What a serve looks like. Degrees, metres, seconds; turns are absolute (90 = side-on)."""

    rear_share: float = 0.55  # static rear-foot share at loading
    knee_front: float = 62.0  # knee flexion at loading
    knee_rear: float = 62.0
    pelvis_turn: float = 100.0  # at loading
    knee_turn: float = 4.0  # change of the knee line's turn, set-up -> loading
    separation: float = 20.0  # shoulder minus pelvis turn at loading
    shoulder_tilt: float = 24.0  # at loading, front shoulder high
    trophy_lean: float = 8.0  # trunk leaning away from the net at loading
    trophy_arch: float = 8.0  # trunk leaning to the back's side at loading
    elbow_trophy: float = 90.0
    contact_tilt: float = 35.0  # hitting shoulder high
    contact_lean: float = 24.0  # trunk towards the net at contact
    contact_side: float = 14.0  # trunk towards the tossing side at contact
    contact_pelvis: float = 28.0
    contact_shoulder: float = 18.0
    elbow_contact: float = 24.0
    reach: float = 116.0  # shoulder elevation at contact
    knee_front_contact: float = 18.0
    knee_rear_contact: float = 22.0
    jump: float = 0.06  # ball of the front foot over its resting height at contact
    # wrist height at contact / standing height; where given, the jump is chosen to reach it
    contact_height: float | None = None
    land: float = 0.25  # front foot lands this far inside
    stance: float = 0.50  # ankle to ankle along the target line at set-up, platform
    closed: float = 0.05  # rear foot further to the back (+y) than the front foot
    foot_up: float = 0.0  # 1 = rear foot drawn up to the front foot by loading
    tempo: float = 1.0  # stretches everything before loading
    drive: float = 0.42  # loading -> contact
    whip: float = 0.12  # racket low -> contact
    sequence_gap: float = 0.015  # how far proximal parts turn before distal ones
    arm_lag: float = 0.0  # arms reach their trophy posture this long after loading
    toss_arm: float = 168.0  # tossing-arm elevation from the trunk at trophy
    toss_plane: float = 40.0
    racket_around: float = -40.0
    setup_turn: float = 84.0
    setup_share: float = 0.50
    setup_knee: float = 16.0
    front_foot_turn: float = 48.0
    rear_foot_turn: float = 86.0
    pattern: str = "pendulum"
    shape_seed: int = 0  # small random differences of every key posture
    shape_spread: float = 4.0

    def changed(self, **values: Any) -> ServeKnobs:
        """The same serve with some knobs turned."""
        return dataclasses.replace(self, **values)


def sample_knobs(rng: np.random.Generator) -> ServeKnobs:
    """A serve of random technique: coil-like or squat-like, feet apart or rear foot drawn up."""

    def normal(mean: float, sd: float, low: float, high: float) -> float:
        return float(np.clip(rng.normal(mean, sd), low, high))

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    foot_up = float(rng.random() < 0.4)
    setup_turn = between(70, 98)
    coil = bool(rng.random() < 0.6)
    knee = normal(62, 14, 25, 92)
    return ServeKnobs(
        rear_share=between(0.36, 0.72),
        knee_front=float(np.clip(knee + rng.normal(0, 5), 20, 95)),
        knee_rear=float(np.clip(knee + rng.normal(0, 8), 20, 95)),
        pelvis_turn=setup_turn + (between(8, 32) if coil else between(-6, 8)),
        knee_turn=between(-2, 14) if coil else between(-4, 4),
        separation=between(2, 34),
        shoulder_tilt=between(6, 38),
        trophy_lean=between(-4, 20),
        trophy_arch=between(-2, 16),
        elbow_trophy=between(65, 118),
        contact_tilt=between(16, 48),
        contact_lean=between(12, 32),
        contact_side=between(4, 24),
        contact_pelvis=between(14, 45),
        contact_shoulder=between(4, 32),
        elbow_contact=normal(26, 10, 6, 50),
        reach=normal(114, 10, 92, 136),
        knee_front_contact=between(9, 32),
        knee_rear_contact=between(12, 40),
        jump=between(0.0, 0.16),
        land=between(0.08, 0.42),
        stance=between(0.34, 0.62),
        closed=between(-0.06, 0.16),
        foot_up=foot_up,
        tempo=between(0.82, 1.45),
        drive=between(0.30, 0.52),
        whip=between(0.09, 0.14),
        sequence_gap=between(-0.01, 0.035),
        arm_lag=between(-0.08, 0.05),
        toss_arm=between(140, 176),
        toss_plane=between(10, 75),
        racket_around=between(-80, 20),
        setup_turn=setup_turn,
        setup_share=between(0.36, 0.62),
        setup_knee=between(8, 26),
        front_foot_turn=between(30, 66),
        rear_foot_turn=between(72, 100),
        pattern=str(rng.choice(ARM_PATTERNS)),
        shape_seed=int(rng.integers(1 << 31)),
        shape_spread=between(2.0, 6.0),
    )
