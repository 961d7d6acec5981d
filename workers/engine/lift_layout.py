"""What the learned lift answers, column by column, and the names of its direct answers."""

from __future__ import annotations

from models.contract.skeleton import CANONICAL_BODY as BODY

HEADS: tuple[str, ...] = (
    "front_knee",
    "rear_knee",
    "elbow",
    "shoulder_elevation",
    "tossing_arm",
    "shoulder_tilt",
    "trunk_inclination",
    "trunk_lateral",
    "trunk_backward",
    "pelvis_absolute",
    "shoulder_absolute",
    "knee_absolute",
    "pelvis_since",
    "shoulder_since",
    "knee_since",
    "separation",
    "load",
    "contact_height",
    "tossing_height",
    "wrist_ahead",
    "rear_hip_height",
    "rear_hip_place",
    "front_hip_ahead",
)
"""Quantities that the network answers for every frame, defined as the metrics define them:
flexions, elevations, leans and turns in degrees (``absolute`` from the target line, ``since`` from
the standing posture), the rear share of the weight by posture, heights of the
wrists over the floor and the reach beyond the front ankle in standing heights, hip places in leg
lengths over the floor, from the standing place toward the target, and beyond the front ankle."""

HEAD_SCALE: dict[str, float] = {
    **dict.fromkeys(HEADS[:15], 6.0),
    "separation": 6.0,
    "load": 0.05,
    "contact_height": 0.02,
    "tossing_height": 0.02,
    "wrist_ahead": 0.04,
    "rear_hip_height": 0.03,
    "rear_hip_place": 0.04,
    "front_hip_ahead": 0.04,
}
"""Unit of each answer in the network: about its usual error, so that all count alike in the loss
(working values)."""

POSITION_UNIT = 0.02
"""Unit of joints and paths in the network, standing heights."""

CLOCKS = 4
"""Events that the network times."""

JOINTS = len(BODY)
RELATIVE = slice(0, 3 * JOINTS)
"""Joints about the mid-hip less their place in the picture (x and z), `POSITION_UNIT`."""
ROOT = slice(RELATIVE.stop, RELATIVE.stop + 3)
"""Mid-hip from its standing place less the same in the picture (x and z), `POSITION_UNIT`."""
JOINT_LOG_SD = slice(ROOT.stop, ROOT.stop + 3 * JOINTS)
"""Natural logarithm of the standard deviation of the joints, same unit."""
MEAN = slice(JOINT_LOG_SD.stop, JOINT_LOG_SD.stop + len(HEADS))
"""`HEADS` in units of `HEAD_SCALE`."""
LOG_SD = slice(MEAN.stop, MEAN.stop + len(HEADS))
"""Natural logarithm of their standard deviation, same units."""
TARGET = slice(LOG_SD.stop, LOG_SD.stop + 2)
"""Cosine and sine of the direction of the target in the levelled frame."""
TARGET_LOG_SD = TARGET.stop
"""Natural logarithm of the standard deviation of that direction, radians."""
CLOCK = slice(TARGET_LOG_SD + 1, TARGET_LOG_SD + 1 + CLOCKS)
"""Time until each event that is timed, in units of the longest time that is told."""
ANSWERS = CLOCK.stop
"""Columns in all."""
