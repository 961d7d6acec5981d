"""What the lift must answer, from true joints, on the device that trains: torch, in batches.

The same definitions as `workers.engine.metrics`; a test holds both against each other.
"""

from __future__ import annotations

import torch
from torch import Tensor

from models.contract.skeleton import ARM_AND_LEG
from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.vocabulary import Sex
from workers.engine.lift_layout import HEADS
from workers.engine.load import BALL, FLAT, HEEL, HEEL_UP
from workers.engine.proportions import HEEL_HEIGHT, SOLE_HEIGHT
from workers.engine.segments import HAND_TO_FOREARM, table

DEGREES = 180.0 / torch.pi
ABSOLUTE_CENTRE = 60.0
"""Middle of the range in which a turn against the target is told, degrees: -120 to 240."""
SINCE_CENTRE = -40.0
"""The same for turns since standing, degrees: -220 to 140."""


def at(joints: Tensor, name: str) -> Tensor:
    """One joint of (..., 21, 3)."""
    return joints[..., BODY.index(name), :]


def middle(joints: Tensor, part: str) -> Tensor:
    """Mid-point of a part's two joints."""
    first, second = BODY.pair(part)
    return (joints[..., first, :] + joints[..., second, :]) / 2


def bend(proximal: Tensor, joint: Tensor, distal: Tensor) -> Tensor:
    """Flexion, degrees."""
    return 180.0 - between(proximal - joint, distal - joint)


def between(u: Tensor, v: Tensor) -> Tensor:
    """Unsigned angle, degrees."""
    cross = torch.linalg.norm(torch.linalg.cross(u, v), dim=-1)
    return torch.atan2(cross, (u * v).sum(-1)) * DEGREES


def wrapped(angle: Tensor, centre: float = 0.0) -> Tensor:
    """Angle in [centre - 180, centre + 180), degrees."""
    return torch.remainder(angle - centre + 180.0, 360.0) + centre - 180.0


def turn(joints: Tensor, part: str) -> Tensor:
    """Turn of a body line against the target, degrees."""
    front, rear = BODY.both(part)
    line = at(joints, front) - at(joints, rear)
    return torch.atan2(line[..., 0], line[..., 1]) * DEGREES


def raised(start: Tensor, end: Tensor) -> Tensor:
    """Angle above the horizontal, degrees."""
    line = end - start
    return torch.atan2(line[..., 2], torch.linalg.norm(line[..., :2], dim=-1)) * DEGREES


def mass_centre(joints: Tensor) -> Tensor:
    """Whole-body centre of mass, mean of the sexes' tables, as the engine's."""
    rows, hand_share = table(Sex.UNKNOWN), HAND_TO_FOREARM[Sex.UNKNOWN]
    total, mass = torch.zeros_like(joints[..., 0, :]), 0.0

    def add(name: str, first: Tensor, second: Tensor) -> None:
        nonlocal total, mass
        segment = rows[name]
        total = total + segment.mass * (first + segment.centre * (second - first))
        mass += segment.mass

    ears = middle(joints, "ear")
    add("head", ears, ears)
    add("trunk", middle(joints, "shoulder"), middle(joints, "hip"))
    for arm, leg in ARM_AND_LEG:
        shoulder, elbow, wrist = (at(joints, f"{arm}_{j}") for j in ("shoulder", "elbow", "wrist"))
        hip, knee, ankle, heel, toe = (
            at(joints, f"{leg}_{j}") for j in ("hip", "knee", "ankle", "heel", "toe")
        )
        add("upper_arm", shoulder, elbow)
        add("forearm", elbow, wrist)
        add("hand", wrist, wrist + hand_share * (wrist - elbow))
        add("thigh", hip, knee)
        add("shank", knee, ankle)
        add("foot", heel, toe)
    return total / mass


def rear_share(joints: Tensor, rear: Tensor, front: Tensor) -> Tensor:
    """Share of the weight over the rear of two points, by moment balance."""
    line = (front - rear)[..., :2]
    offset = (mass_centre(joints) - rear)[..., :2]
    return 1.0 - (offset * line).sum(-1) / (line * line).sum(-1).clamp_min(1e-4)


def pressing(heel: Tensor, toe: Tensor) -> Tensor:
    """Where a foot presses on the floor, as `workers.engine.load.foot_point`; standing heights."""
    up = (heel[..., 2] - toe[..., 2] - (HEEL_HEIGHT - SOLE_HEIGHT)) / HEEL_UP
    up = up.clamp(-1.0, 1.0)
    place = FLAT + torch.where(up > 0, (BALL - FLAT) * up, (FLAT - HEEL) * up)
    return heel + place[..., None] * (toe - heel)


def leg_length(joints: Tensor) -> Tensor:
    """Thigh plus shank, mean of both legs."""
    total = torch.zeros_like(joints[..., 0, 0])
    for side in ("front", "rear"):
        hip, knee, ankle = (at(joints, f"{side}_{j}") for j in ("hip", "knee", "ankle"))
        total = total + (torch.linalg.norm(hip - knee, dim=-1)) / 2
        total = total + (torch.linalg.norm(knee - ankle, dim=-1)) / 2
    return total


def floor_of(joints: Tensor) -> Tensor:
    """Height of the floor, (B, 1): under the lower of heels and toes while standing."""
    names = [*BODY.both("heel"), *BODY.both("toe")]
    low = torch.stack([at(joints, name)[..., 2] for name in names]).amin(0)
    return torch.quantile(low, 0.1, dim=1, keepdim=True) - 0.012


def heads_of(joints: Tensor, still: int) -> Tensor:
    """Return `HEADS` for joints in the court frame, standing heights: (B, T, 21, 3) -> (B, T, H).

    ``still``: frames of the standing posture at the start.
    """

    def since(angle: Tensor) -> Tensor:
        first = angle[:, :1]
        start = first + torch.median(wrapped(angle[:, :still] - first), dim=1, keepdim=True).values
        return wrapped(angle - start, SINCE_CENTRE)

    hips, shoulders = middle(joints, "hip"), middle(joints, "shoulder")
    trunk = shoulders - hips
    turns = {part: turn(joints, part) for part in ("hip", "shoulder", "knee")}
    arm = [at(joints, f"hitting_{j}") for j in ("shoulder", "elbow", "wrist")]
    feet = [pressing(at(joints, f"{s}_heel"), at(joints, f"{s}_toe")) for s in ("rear", "front")]
    leg = leg_length(joints)
    place = at(joints, "rear_hip")
    values = {
        "elbow": bend(*arm),
        "shoulder_elevation": between(arm[1] - arm[0], hips - shoulders),
        "tossing_arm": raised(at(joints, "tossing_shoulder"), at(joints, "tossing_wrist")),
        "shoulder_tilt": raised(at(joints, "hitting_shoulder"), at(joints, "tossing_shoulder")),
        "trunk_inclination": torch.atan2(torch.linalg.norm(trunk[..., :2], dim=-1), trunk[..., 2])
        * DEGREES,
        "trunk_lateral": torch.atan2(trunk[..., 1], trunk[..., 2]) * DEGREES,
        "trunk_backward": torch.atan2(-trunk[..., 0], trunk[..., 2]) * DEGREES,
        "pelvis_absolute": wrapped(turns["hip"], ABSOLUTE_CENTRE),
        "shoulder_absolute": wrapped(turns["shoulder"], ABSOLUTE_CENTRE),
        "knee_absolute": wrapped(turns["knee"], ABSOLUTE_CENTRE),
        "pelvis_since": since(turns["hip"]),
        "shoulder_since": since(turns["shoulder"]),
        "knee_since": since(turns["knee"]),
        "separation": wrapped(turns["shoulder"] - turns["hip"]),
        "load": rear_share(joints, *feet).clamp(-1.0, 2.0),
        "contact_height": at(joints, "hitting_wrist")[..., 2] - floor_of(joints),
        "tossing_height": at(joints, "tossing_wrist")[..., 2] - floor_of(joints),
        "wrist_ahead": at(joints, "hitting_wrist")[..., 0] - at(joints, "front_ankle")[..., 0],
        "rear_hip_height": (place[..., 2] - floor_of(joints)) / leg,
        "rear_hip_place": (place[..., 0] - place[:, :still, 0].median(1, keepdim=True).values)
        / leg,
        "front_hip_ahead": (at(joints, "front_hip") - at(joints, "front_ankle"))[..., 0] / leg,
    }
    for side in ("front", "rear"):
        names = (f"{side}_{j}" for j in ("hip", "knee", "ankle"))
        values[f"{side}_knee"] = bend(*(at(joints, name) for name in names))
    return torch.stack([values[name] for name in HEADS], dim=-1)
