"""Two adults walking over force plates: joints by markers, and the force under each foot.

Marker files (.trc, mm) and forces (.mot, N, m), x forward, y up, z right; turned to x forward, y
left, z up. Subject a: Delp 2007 (doi 10.1109/TBME.2007.901024), on a treadmill, 60 Hz; subject b:
Rajagopal 2016 (doi 10.1109/TBME.2016.2586891), 100 Hz. For measuring only: their licence is not
stated in the files.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.training.real.lab import Array

LEGS = (("R", "right", "rear", "hitting"), ("L", "left", "front", "tossing"))
"""Marker prefix, side, and the names that the side gets: the right leg plays the rear one."""
ACROMION_TO_SHOULDER_M = 0.056
EAR_OVER_SHOULDERS_M = 0.20
"""Mid-ear over mid-shoulder along the trunk where no head marker is worn (working value)."""
STANDING_N = 20.0
"""Force above which a foot counts as on the floor, newtons (working value)."""
ENDS_S = 0.1
"""First and last stretch of a recording that is left out, where accelerations are one-sided."""


@dataclass(frozen=True)
class Source:
    """Files of one subject, and how its markers are called."""

    static: str
    walk: str
    force: str
    force_columns: tuple[str, str]
    sacrum: tuple[str, ...]
    shank: tuple[str, ...]
    knee: tuple[str, str]
    ankle: tuple[str, str]
    toe: str
    shoulder: str
    wrist: tuple[str, ...]
    head: tuple[str, ...]
    stature_m: float


SUBJECTS: dict[str, Source] = {
    "a": Source(
        "a_static.trc", "a_walk1.trc", "a_walk1_grf.mot", ("ground_force_", "1_ground_force_"),
        ("V.Sacral",), ("Shank.Upper", "Shank.Front", "Shank.Rear"), ("Knee.Lat", "Knee.Med"),
        ("Ankle.Lat", "Ankle.Med"), "Toe.Tip", "Acromium", ("Wrist.Med", "Wrist.Lat"),
        ("R.Temple", "L.Temple"), 1.80,
    ),
    "b": Source(
        "b_static_walk_1.trc", "b_motion_capture_walk.trc", "b_grf_walk.mot",
        ("ground_force_r_", "ground_force_l_"), ("R.PSIS", "L.PSIS"), ("SH1", "SH2", "SH3"),
        ("Knee", "MKnee"), ("Ankle", "MAnkle"), "Toe", "Shoulder", ("Wrist",), (), 1.75,
    ),
}  # fmt: skip
"""Statures are estimates from the markers (no source)."""


@dataclass(frozen=True)
class Walk:
    """One subject: times (T,), joints (T, 21, 3), force under right and left foot (T,), newtons.

    ``flat_rise_m`` is the height of heel marker over toe marker of the standing right and left
    foot.
    """

    subject: str
    time_s: Array
    joints: Array
    right_n: Array
    left_n: Array
    flat_rise_m: tuple[float, float]
    stature_m: float

    @property
    def both_stand(self) -> Array:
        """Which instants both feet stand, away from the ends of the recording."""
        t = self.time_s
        inside = (t - t[0] > ENDS_S) & (t[-1] - t > ENDS_S)
        return np.asarray((self.right_n > STANDING_N) & (self.left_n > STANDING_N) & inside)

    @property
    def right_is_rear(self) -> Array:
        """Which instants the right foot is the rear one."""
        rear, front = BODY.at(self.joints, "rear_ankle"), BODY.at(self.joints, "front_ankle")
        return np.asarray(rear[:, 0] < front[:, 0])

    def rear_share(self, right_share: Array) -> Array:
        """Return the share on whichever foot is behind from that of the right foot."""
        return np.where(self.right_is_rear, right_share, 1.0 - right_share)


def read_walk(folder: Path, subject: str) -> Walk:
    """Return a subject's walk with joint centres."""
    source = SUBJECTS[subject]
    standing = {
        k: np.nanmean(v, axis=0) for k, v in read_markers(folder / source.static)[1].items()
    }
    time_s, walking = read_markers(folder / source.walk)
    joints = np.full((len(time_s), len(BODY), 3), np.nan)

    def put(name: str, path: Array) -> None:
        joints[:, BODY.index(name)] = path

    def mean(names: Mapping[str, Array], *wanted: str) -> Array:
        return np.asarray(np.mean([names[name] for name in wanted], axis=0))

    hips = _hips(walking["R.ASIS"], walking["L.ASIS"], mean(walking, *source.sacrum))
    for prefix, side, leg, arm in LEGS:
        carried = _carrier(standing, walking, [f"{prefix}.{m}" for m in source.shank])
        put(f"{leg}_hip", hips[side])
        put(f"{leg}_knee", carried(mean(standing, *(f"{prefix}.{m}" for m in source.knee))))
        put(f"{leg}_ankle", carried(mean(standing, *(f"{prefix}.{m}" for m in source.ankle))))
        put(f"{leg}_heel", walking[f"{prefix}.Heel"])
        put(f"{leg}_toe", walking[f"{prefix}.{source.toe}"])
        down = np.array([0.0, 0.0, ACROMION_TO_SHOULDER_M])
        put(f"{arm}_shoulder", walking[f"{prefix}.{source.shoulder}"] - down)
        put(f"{arm}_elbow", walking[f"{prefix}.Elbow"])
        put(f"{arm}_wrist", mean(walking, *(f"{prefix}.{m}" for m in source.wrist)))
    if source.head:
        head = mean(walking, *source.head)
    else:
        trunk = BODY.middle(joints, "shoulder") - BODY.middle(joints, "hip")
        up = trunk / np.linalg.norm(trunk, axis=1, keepdims=True)
        head = BODY.middle(joints, "shoulder") + EAR_OVER_SHOULDERS_M * up
    for name in BODY.names[: BODY.index("tossing_shoulder")]:
        put(name, head)
    forces = read_forces(folder / source.force)
    right, left = (
        _averaged(forces["time"], forces[f"{column}vy"], time_s) for column in source.force_columns
    )
    rises = [float(standing[f"{p}.Heel"][2] - standing[f"{p}.{source.toe}"][2]) for p, *_ in LEGS]
    return Walk(subject, time_s, joints, right, left, (rises[0], rises[1]), source.stature_m)


def read_markers(path: Path) -> tuple[Array, dict[str, Array]]:
    """Return times and marker paths (T, 3), metres, z up, of a ``.trc`` file."""
    lines = path.read_text("latin-1").splitlines()
    names = [name.strip() for name in lines[3].split("\t")[2:] if name.strip()]
    width = 2 + 3 * len(names)
    rows = []
    for line in lines[5:]:
        cells = line.rstrip("\r\n").split("\t")
        if cells[0].strip():
            row = [float(cell) if cell.strip() else np.nan for cell in cells[:width]]
            rows.append(row + [np.nan] * (width - len(row)))
    table = np.array(rows)
    points = table[:, 2:].reshape(len(table), -1, 3) / 1000.0
    turned = np.stack([points[..., 0], -points[..., 2], points[..., 1]], axis=-1)
    return table[:, 1], {name: turned[:, i] for i, name in enumerate(names)}


def read_forces(path: Path) -> dict[str, Array]:
    """Return the columns of a ``.mot`` file."""
    lines = path.read_text("utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if line.strip() == "endheader")
    rows = [[float(cell) for cell in line.split()] for line in lines[head + 2 :] if line.strip()]
    table = np.array(rows)
    return {name: table[:, i] for i, name in enumerate(lines[head + 1].split())}


def _averaged(times: Array, values: Array, wanted: Array) -> Array:
    """Return the mean of a series over the frame about each of the wanted times."""
    half = float(np.median(np.diff(wanted))) / 2.0
    first = np.searchsorted(times, wanted - half)
    last = np.searchsorted(times, wanted + half, side="right")
    sums = np.concatenate([[0.0], np.cumsum(values)])
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (sums[last] - sums[first]) / (last - first)
    return np.asarray(np.nan_to_num(mean))


def _hips(right: Array, left: Array, sacrum: Array) -> dict[str, Array]:
    """Return hip centres from the bony pelvis: Harrington 2007, metres."""
    middle = (right + left) / 2.0
    across = left - right
    width = np.linalg.norm(across, axis=1, keepdims=True)
    across = across / width
    depth = np.linalg.norm(middle - sacrum, axis=1, keepdims=True)
    up = np.cross(middle - sacrum, across)
    up = up / np.linalg.norm(up, axis=1, keepdims=True)
    ahead = np.cross(across, up)
    inner = middle - ahead * (0.24 * depth + 0.0099) - up * (0.30 * width + 0.0109)
    reach = across * (0.33 * width + 0.0073)
    return {"right": inner - reach, "left": inner + reach}


def _carrier(
    standing: Mapping[str, Array], walking: Mapping[str, Array], cluster: list[str]
) -> Callable[[Array], Array]:
    """Return what carries a point of the standing trial along with a rigid cluster of markers."""
    rest = np.stack([standing[name] for name in cluster])
    now = np.stack([walking[name] for name in cluster], axis=1)
    centre, moved = rest.mean(axis=0), now.mean(axis=1, keepdims=True)
    cross = np.einsum("mi,tmj->tij", rest - centre, now - moved)
    u, _, vt = np.linalg.svd(cross)
    v = np.swapaxes(vt, 1, 2).copy()
    v[:, :, 2] *= np.sign(np.linalg.det(v @ np.swapaxes(u, 1, 2)))[:, None]
    turn = v @ np.swapaxes(u, 1, 2)
    return lambda point: np.asarray((point - centre) @ np.swapaxes(turn, 1, 2) + moved[:, 0])
