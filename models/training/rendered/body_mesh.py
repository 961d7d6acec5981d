"""A body mesh posed by the synthetic skeleton: proportions from the mesh, skin from the posture.

Needs the `training` extra: the package `anny` (body data CC0, code Apache-2.0) gives the rest
vertices, joint positions and skinning weights of a phenotype; posing and skinning are done here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from .pose import Body
from .rotation import Array, apply, frame_from_axis, from_vector, to_vector, unit
from .skeleton import Skeleton, with_true_height

#: turns the mesh's axes (left, back, up) into ours (forward, left, up)
_AXES = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
_FINGERS = {
    1: (0.35, 0.30, 0.35),
    2: (0.9, 1.25, 0.8),
    3: (1.0, 1.3, 0.8),
    4: (1.05, 1.3, 0.8),
    5: (1.1, 1.3, 0.8),
}


@lru_cache(maxsize=1)
def _model() -> Any:
    import anny
    import torch

    torch.set_num_threads(1)
    return anny.Anny()


@dataclass(frozen=True)
class BodyMesh:
    """Rest mesh of one person.

    vertices (V, 3) rest pose; faces (F, 3); heads bone name -> (3,); weights (V, 9) over `bones`
    by index (V, 9); keypoints (17, V) regression of the COCO joints from the skin.
    """

    vertices: Array
    faces: np.ndarray
    bones: list[str]
    heads: dict[str, Array]
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
    """The mesh of a phenotype with the skeleton taken from it."""
    import anny
    import torch

    model = _model()
    with torch.no_grad():
        rest = model(phenotype_kwargs=phenotype)
    vertices = rest["rest_vertices"][0].double().numpy() @ _AXES.T
    positions = rest["rest_bone_heads"][0].double().numpy() @ _AXES.T
    bones = list(model.bone_labels)
    heads = {name: positions[i] for i, name in enumerate(bones)}
    regressor = anny.KeypointsRegressor.coco(model)
    weights = regressor.regression_weights.double().numpy()
    coco = dict(zip(regressor.labels, weights @ vertices, strict=True))
    skeleton = _skeleton(vertices, heads, coco, phenotype)
    return BodyMesh(
        vertices=vertices,
        faces=model.faces.numpy().astype(np.int32),
        bones=bones,
        heads=heads,
        weights=model.vertex_bone_weights.double().numpy(),
        indices=model.vertex_bone_indices.numpy(),
        keypoints=weights[:17],
        skeleton=skeleton,
        rest=_rest_frames(heads),
        fingers=_curled_fingers(heads),
    )


def _skeleton(
    vertices: Array, heads: dict[str, Array], coco: dict[str, Array], phenotype: dict[str, float]
) -> Skeleton:
    """Offsets of the left side in rest segment frames."""
    h = heads
    mid_hip = 0.5 * (h["upperleg01.L"] + h["upperleg01.R"])
    upper, fore = h["lowerarm01.L"] - h["upperarm01.L"], h["wrist.L"] - h["lowerarm01.L"]
    thigh, shank = h["lowerleg01.L"] - h["upperleg01.L"], h["foot.L"] - h["lowerleg01.L"]
    foot = _foot_frame(h, "L")
    ankle, ball = h["foot.L"], h["toe3-1.L"]
    left = vertices[vertices[:, 1] > 0]
    low = left[left[:, 2] < ankle[2] - 0.02]
    along = (low - ankle) @ foot[:, 0]
    heel, toe = low[np.argmin(along)], low[np.argmax(along)]
    top = vertices[np.argmax(vertices[:, 2])]
    skeleton = Skeleton(
        height=0.0,
        gender=phenotype["gender"],
        hip=h["upperleg01.L"] - mid_hip,
        lumbar=h["spine04"] - mid_hip,
        spine=h["spine02"] - h["spine04"],
        chest=h["spine01"] - h["spine02"],
        neck=h["neck01"] - h["spine01"],
        clavicle=h["clavicle.L"] - h["spine01"],
        shoulder=h["upperarm01.L"] - h["clavicle.L"],
        skull=h["head"] - h["neck01"],
        upper_arm=float(np.linalg.norm(upper)),
        forearm=float(np.linalg.norm(fore)),
        hand=float(np.linalg.norm(h["finger3-1.L"] - h["wrist.L"])),
        thigh=float(np.linalg.norm(thigh)),
        shank=float(np.linalg.norm(shank)),
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


def _foot_frame(h: dict[str, Array], side: str) -> Array:
    """Rest frame of a foot: x from the ankle to the ball on the floor plane, z up."""
    x = h[f"toe3-1.{side}"] - h[f"foot.{side}"]
    x = unit(np.array([x[0], x[1], 0.0]))
    z = np.array([0.0, 0.0, 1.0])
    return np.stack([x, np.cross(z, x), z], axis=-1)


def _rest_frames(h: dict[str, Array]) -> dict[str, Array]:
    """Frame of each segment in the rest pose, built as `pose` builds it in motion."""
    out = {name: np.eye(3) for name in ("pelvis", "spine1", "spine2", "thorax", "neck", "head")}
    for side in "LR":
        upper = unit(h[f"lowerarm01.{side}"] - h[f"upperarm01.{side}"])
        fore = unit(h[f"wrist.{side}"] - h[f"lowerarm01.{side}"])
        bend = unit(fore - (fore @ upper) * upper)
        out[f"{side}_clavicle"] = np.eye(3)
        out[f"{side}_upper_arm"] = frame_from_axis(upper, bend)
        out[f"{side}_forearm"] = frame_from_axis(fore, -upper + (fore @ upper) * fore)
        hand = h[f"finger3-1.{side}"] - h[f"wrist.{side}"]
        radial = h[f"finger2-1.{side}"] - h[f"finger5-1.{side}"]
        radial = radial - (radial @ unit(hand)) * unit(hand)
        palm = np.cross(unit(radial), unit(hand)) * (1.0 if side == "L" else -1.0)
        out[f"{side}_palm"] = unit(palm)
        out[f"{side}_hand"] = frame_from_axis(hand, radial if side == "R" else palm)
        ahead = np.array([1.0, 0.0, 0.0])
        out[f"{side}_thigh"] = frame_from_axis(
            h[f"lowerleg01.{side}"] - h[f"upperleg01.{side}"], ahead
        )
        out[f"{side}_shank"] = frame_from_axis(h[f"foot.{side}"] - h[f"lowerleg01.{side}"], ahead)
        out[f"{side}_foot"] = out[f"{side}_toes"] = _foot_frame(h, side)
    return out


def _curled_fingers(h: dict[str, Array]) -> dict[str, tuple[Array, Array]]:
    """Rotation and head of every finger bone with the hand closed, in the rest frame."""
    frames = _rest_frames(h)
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
    "shoulder": "upperarm01",
    "elbow": "lowerarm01",
    "wrist": "wrist",
    "hip": "upperleg01",
    "knee": "lowerleg01",
    "ankle": "foot",
    "ball": "toe3-1",
}


def _anchor(mesh: BodyMesh, joint: str) -> Array:
    """Rest position of the joint a segment hangs on."""
    if joint == "mid_hip":
        return 0.5 * (mesh.heads["upperleg01.L"] + mesh.heads["upperleg01.R"])
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
