"""A body mesh posed by the synthetic skeleton: proportions from the mesh, skin from the posture.

`rest_body` gives vertices, bone heads and skinning weights of a phenotype; posing and skinning
are done here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import KEYPOINTS

from .bony_points import bony_points, joint_centres
from .limb_lengths import arm_factors, stretched
from .pose import Body
from .rest_body import rest_body, topology
from .rotation import Array, apply, frame_from_axis, from_vector, to_vector, unit
from .skeleton import Skeleton, with_true_height

#: build over which fat hides the bony points (share of the mesh's range, working value)
_LEAN = 0.45
_FINGERS = {
    1: (0.35, 0.30, 0.35),
    2: (0.9, 1.25, 0.8),
    3: (1.0, 1.3, 0.8),
    4: (1.05, 1.3, 0.8),
    5: (1.1, 1.3, 0.8),
}


@dataclass(frozen=True)
class BodyMesh:
    """Rest mesh of one person.

    vertices (V, 3) rest pose; faces (F, 3); heads bone name -> (3,); joints centre of each limb
    joint (`L_hip`, ...) -> (3,); weights (V, 9) over `bones` by index (V, 9); keypoints (17, V)
    regression of the COCO joints from the skin.
    """

    vertices: Array
    faces: np.ndarray
    bones: list[str]
    heads: dict[str, Array]
    joints: dict[str, Array]
    weights: Array
    indices: np.ndarray
    keypoints: Array
    skeleton: Skeleton
    rest: dict[str, Array]
    fingers: dict[str, tuple[Array, Array]]


def sample_phenotype(rng: np.random.Generator) -> dict[str, float]:
    """A grown person: sex, height, build."""
    female = rng.random() < 0.4
    return {
        "gender": 0.94 if female else 0.06,
        "age": float(rng.uniform(0.58, 0.67)),
        "muscle": float(rng.uniform(0.5, 0.75)),
        "weight": float(rng.uniform(0.34, 0.52)),
        "height": float(rng.uniform(0.42, 0.56)),
        "proportions": float(rng.uniform(0.4, 0.62)),
    }


def make_body_mesh(phenotype: dict[str, float]) -> BodyMesh:
    """The mesh of a phenotype with the skeleton taken from it.

    Limbs turn about anatomical joint centres (`bony_points`), the trunk about the rig's.
    """
    shared = topology()
    vertices, heads = rest_body(phenotype)
    centres = _lean_centres(phenotype, heads)
    factors = arm_factors(centres, float(np.ptp(vertices[:, 2])), phenotype)
    vertices, heads, centres = stretched(
        vertices, heads, centres, shared.bones, shared.weights, shared.indices, factors
    )
    named = {name: heads[i] for i, name in enumerate(shared.bones)}
    coco = dict(zip(KEYPOINTS.names, shared.keypoints @ vertices, strict=True))
    return BodyMesh(
        vertices=vertices,
        faces=shared.faces,
        bones=shared.bones,
        heads=named,
        joints=centres,
        weights=shared.weights,
        indices=shared.indices,
        keypoints=shared.keypoints,
        skeleton=_skeleton(vertices, named, centres, coco, phenotype),
        rest=_rest_frames(named, centres),
        fingers=_curled_fingers(named, _rest_frames(named, centres)),
    )


def _lean_centres(phenotype: dict[str, float], heads: Array) -> dict[str, Array]:
    """Joint centres of the same person without fat over the bony points: fat moves skin, not
    bones.
    """
    if phenotype["weight"] <= _LEAN:
        lean, same = rest_body(phenotype)[0], heads
    else:
        lean, same = rest_body(phenotype | {"weight": _LEAN})
    centres = joint_centres(bony_points(lean))
    root = heads[0] - same[0]
    return {name: centre + root for name, centre in centres.items()}


def _skeleton(
    vertices: Array,
    h: dict[str, Array],
    j: dict[str, Array],
    coco: dict[str, Array],
    phenotype: dict[str, float],
) -> Skeleton:
    """Offsets of the left side in rest segment frames."""

    def length(start: str, end: str) -> float:
        return float(np.linalg.norm(j[f"L_{end}"] - j[f"L_{start}"]))

    mid_hip = 0.5 * (j["L_hip"] + j["R_hip"])
    foot = _foot_frame(h, j, "L")
    ankle, ball = j["L_ankle"], h["toe3-1.L"]
    left = vertices[vertices[:, 1] > 0]
    low = left[left[:, 2] < ankle[2] - 0.02]
    along = (low - ankle) @ foot[:, 0]
    heel, toe = low[np.argmin(along)], low[np.argmax(along)]
    top = vertices[np.argmax(vertices[:, 2])]
    skeleton = Skeleton(
        height=0.0,
        gender=phenotype["gender"],
        hip=j["L_hip"] - mid_hip,
        lumbar=h["spine04"] - mid_hip,
        spine=h["spine02"] - h["spine04"],
        chest=h["spine01"] - h["spine02"],
        neck=h["neck01"] - h["spine01"],
        clavicle=h["clavicle.L"] - h["spine01"],
        shoulder=j["L_shoulder"] - h["clavicle.L"],
        skull=h["head"] - h["neck01"],
        upper_arm=length("shoulder", "elbow"),
        forearm=length("elbow", "wrist"),
        hand=float(np.linalg.norm(h["finger3-1.L"] - j["L_wrist"])),
        thigh=length("hip", "knee"),
        shank=length("knee", "ankle"),
        ball=foot.T @ (ball - ankle),
        heel=foot.T @ (heel - ankle),
        toe=foot.T @ (toe - ball),
        face={
            "nose": coco["nose"] - h["head"],
            "left_eye": coco["left_eye"] - h["head"],
            "left_ear": coco["left_ear"] - h["head"],
            "vertex": np.array([top[0], 0.0, top[2]]) - h["head"],
        },
        phenotype=phenotype,
        sole=float(ball[2] - low[:, 2].min()),
    )
    return with_true_height(skeleton)


def _foot_frame(h: dict[str, Array], j: dict[str, Array], side: str) -> Array:
    """Rest frame of a foot: x from the ankle to the ball on the floor plane, z up."""
    x = h[f"toe3-1.{side}"] - j[f"{side}_ankle"]
    x = unit(np.array([x[0], x[1], 0.0]))
    z = np.array([0.0, 0.0, 1.0])
    return np.stack([x, np.cross(z, x), z], axis=-1)


def _rest_frames(h: dict[str, Array], j: dict[str, Array]) -> dict[str, Array]:
    """Frame of each segment in the rest pose, built as `pose` builds it in motion."""
    out = {name: np.eye(3) for name in ("pelvis", "spine1", "spine2", "thorax", "neck", "head")}
    ahead = np.array([1.0, 0.0, 0.0])
    for side in "LR":
        shoulder, elbow, wrist = (j[f"{side}_{name}"] for name in ("shoulder", "elbow", "wrist"))
        hip, knee, ankle = (j[f"{side}_{name}"] for name in ("hip", "knee", "ankle"))
        upper, fore = unit(elbow - shoulder), unit(wrist - elbow)
        bend = unit(fore - (fore @ upper) * upper)
        out[f"{side}_clavicle"] = np.eye(3)
        out[f"{side}_upper_arm"] = frame_from_axis(upper, bend)
        out[f"{side}_forearm"] = frame_from_axis(fore, -upper + (fore @ upper) * fore)
        hand = h[f"finger3-1.{side}"] - wrist
        radial = h[f"finger2-1.{side}"] - h[f"finger5-1.{side}"]
        radial = radial - (radial @ unit(hand)) * unit(hand)
        palm = np.cross(unit(radial), unit(hand)) * (1.0 if side == "L" else -1.0)
        out[f"{side}_palm"] = unit(palm)
        out[f"{side}_hand"] = frame_from_axis(hand, radial if side == "R" else palm)
        out[f"{side}_thigh"] = frame_from_axis(knee - hip, ahead)
        out[f"{side}_shank"] = frame_from_axis(ankle - knee, ahead)
        out[f"{side}_foot"] = out[f"{side}_toes"] = _foot_frame(h, j, side)
    return out


def _curled_fingers(
    h: dict[str, Array], frames: dict[str, Array]
) -> dict[str, tuple[Array, Array]]:
    """Rotation and head of every finger bone with the hand closed, in the rest frame."""
    out: dict[str, tuple[Array, Array]] = {}
    for side, share in (("L", 0.55), ("R", 1.0)):
        palm = frames[f"{side}_palm"]
        for finger, bends in _FINGERS.items():
            names = [f"finger{finger}-{joint}.{side}" for joint in (1, 2, 3)]
            rotation, head = np.eye(3), h[names[0]]
            for i, name in enumerate(names):
                if i:
                    head = head + rotation @ (h[name] - h[names[i - 1]])
                along = unit(h[names[min(i + 1, 2)]] - h[names[min(i, 1)]])
                rotation = rotation @ from_vector(share * bends[i] * unit(np.cross(along, palm)))
                out[name] = (rotation, head)
    return out


def _segment_of(bone: str) -> tuple[str, str]:
    """Segment frame that moves a bone, and the joint it hangs on."""
    base, _, side = bone.partition(".")
    if base in ("root", "pelvis", "spine05"):
        return "pelvis", "mid_hip"
    for start, segment, joint in (
        ("spine04", "spine1", "spine1"),
        ("spine03", "spine1", "spine1"),
        ("spine02", "spine2", "spine2"),
        ("spine01", "thorax", "chest"),
        ("neck", "neck", "neck"),
        ("head", "head", "skull"),
        ("eye", "head", "skull"),
    ):
        if base.startswith(start):
            return segment, joint
    for start, segment, joint in (
        ("clavicle", "clavicle", "clavicle"),
        ("shoulder01", "clavicle", "clavicle"),
        ("upperarm", "upper_arm", "shoulder"),
        ("lowerarm", "forearm", "elbow"),
        ("wrist", "hand", "wrist"),
        ("metacarpal", "hand", "wrist"),
        ("finger", "hand", "wrist"),
        ("upperleg", "thigh", "hip"),
        ("lowerleg", "shank", "knee"),
        ("foot", "foot", "ankle"),
        ("toe", "toes", "ball"),
    ):
        if base.startswith(start):
            return f"{side}_{segment}", f"{side}_{joint}"
    raise KeyError(bone)


_ANCHOR = {
    "spine1": "spine04",
    "spine2": "spine02",
    "chest": "spine01",
    "neck": "neck01",
    "skull": "head",
    "clavicle": "clavicle",
    "ball": "toe3-1",
}


def _anchor(mesh: BodyMesh, joint: str) -> Array:
    """Rest position of the joint a segment hangs on."""
    if joint == "mid_hip":
        return 0.5 * (mesh.joints["L_hip"] + mesh.joints["R_hip"])
    if joint in mesh.joints:
        return mesh.joints[joint]
    side, _, name = joint.partition("_")
    return mesh.heads[_ANCHOR[joint]] if not name else mesh.heads[f"{_ANCHOR[name]}.{side}"]


def bone_transforms(mesh: BodyMesh, body: Body) -> Array:
    """Rest -> world transforms (T, B, 3, 4) of all bones for a posed body."""
    count = len(body.points["mid_hip"])
    turns = {s: f @ mesh.rest[s].T for s, f in body.frames.items() if s in mesh.rest}
    out = np.empty((count, len(mesh.bones), 3, 4))
    halves = {side: _half_twists(mesh, turns, side) for side in "LR"}
    for i, bone in enumerate(mesh.bones):
        segment, joint = _segment_of(bone)
        turn, place, at = turns[segment], body.points[joint], _anchor(mesh, joint)
        base, _, side = bone.partition(".")
        if base in ("upperarm01", "lowerarm02"):
            turn = halves[side][base]
        if bone in mesh.fingers:
            curl, head = mesh.fingers[bone]
            place = place + apply(turn, head - at)
            turn, at = turn @ curl, mesh.heads[bone]
        out[:, i, :, :3] = turn
        out[:, i, :, 3] = place - apply(turn, at)
    return out


def _half_twists(mesh: BodyMesh, turns: dict[str, Array], side: str) -> dict[str, Array]:
    """Upper arm at the shoulder and forearm at the wrist take half the twist along the arm."""
    upper_axis = -mesh.rest[f"{side}_upper_arm"][:, 2]
    fore_axis = -mesh.rest[f"{side}_forearm"][:, 2]
    girdle, upper = turns[f"{side}_clavicle"], turns[f"{side}_upper_arm"]
    fore, hand = turns[f"{side}_forearm"], turns[f"{side}_hand"]
    twist = _twist(np.swapaxes(girdle, -1, -2) @ upper, upper_axis)
    near = upper @ from_vector(-0.5 * twist[:, None] * upper_axis)
    twist = _twist(np.swapaxes(fore, -1, -2) @ hand, fore_axis)
    return {"upperarm01": near, "lowerarm02": fore @ from_vector(0.5 * twist[:, None] * fore_axis)}


def _twist(rotation: Array, axis: Array) -> Array:
    """Angle of a rotation (T, 3, 3) about `axis`, radians, continuous in time."""
    moved = rotation @ axis
    cross = np.cross(np.broadcast_to(axis, moved.shape), moved)
    sine = np.linalg.norm(cross, axis=-1, keepdims=True)
    angle = np.arctan2(sine, (moved @ axis)[:, None])
    swing = from_vector(np.where(sine > 1e-9, angle / np.maximum(sine, 1e-12), 1.0) * cross)
    return np.unwrap(to_vector(np.swapaxes(swing, -1, -2) @ rotation) @ axis)


def skin(mesh: BodyMesh, transforms: Array) -> Array:
    """World vertices (V, 3) for the bone transforms (B, 3, 4) of one instant."""
    blended = np.einsum("vk,vkij->vij", mesh.weights, transforms[mesh.indices])
    return np.einsum("vij,vj->vi", blended[:, :, :3], mesh.vertices) + blended[:, :, 3]


def surface_joints(mesh: BodyMesh, vertices: Array) -> Array:
    """The 17 COCO joints regressed from the skin, (17, 3)."""
    return mesh.keypoints @ vertices


def volume_centre(vertices: Array, faces: np.ndarray) -> Array:
    """Centroid of the enclosed volume (uniform density), (3,)."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    volume = np.sum(a * np.cross(b, c), axis=1) / 6.0
    centre = np.sum(volume[:, None] * (a + b + c) / 4.0, axis=0)
    total: Array = centre / volume.sum()
    return total
