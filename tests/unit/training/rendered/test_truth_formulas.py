"""The truth's formulas against worked examples and a second, independent implementation.

E1-E7 are worked by hand from de Leva (1996), J Biomech 29(9):1223-1230, Table 4, and plain
geometry; the second implementation is the one that wrote the committed clips.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.training.rendered import truth_formulas as f
from models.training.rendered.dataset import COMMITTED, load_truth

E1 = [  # a body loaded in the side plane (x to the net, z up, metres), first and second end
    ("head", (0.06, 1.66), (0.10, 1.46)),
    ("trunk", (0.12, 1.38), (0.30, 0.90)),
    ("upper_arm", (-0.02, 1.30), (-0.28, 1.34)),
    ("forearm", (-0.28, 1.34), (-0.22, 1.58)),
    ("hand", (-0.22, 1.58), (-0.18, 1.66)),
    ("upper_arm", (0.26, 1.46), (0.36, 1.72)),
    ("forearm", (0.36, 1.72), (0.40, 1.98)),
    ("hand", (0.40, 1.98), (0.41, 2.06)),
    ("thigh", (0.24, 0.90), (0.36, 0.50)),
    ("shank", (0.36, 0.50), (0.10, 0.12)),
    ("foot", (0.02, 0.08), (0.24, 0.02)),
    ("thigh", (0.36, 0.90), (0.62, 0.54)),
    ("shank", (0.62, 0.54), (0.58, 0.10)),
    ("foot", (0.50, 0.04), (0.74, 0.02)),
]


def at(x: float, z: float, y: float = 0.0) -> np.ndarray:
    return np.array([x, y, z])


def ends():
    return [(name, at(*a), at(*b)) for name, a, b in E1]


@pytest.mark.parametrize(
    ("gender", "expected"), [(0.0, (0.252694, 1.013398)), (1.0, (0.251309, 1.013522))]
)
def test_centre_of_mass_of_a_posed_body(gender, expected):
    com = f.centre_of_mass(ends(), gender)
    assert com[[0, 2]] == pytest.approx(expected, abs=1e-6)


def test_segment_masses_add_up_to_the_body():
    for pick, total in ((0, 0.9999), (1, 1.0)):
        twice = [m[pick][0] * (1 if n in ("head", "trunk") else 2) for n, m in f.SEGMENTS.items()]
        assert sum(twice) == pytest.approx(total, abs=1e-9)


@pytest.mark.parametrize(("gender", "expected"), [(0.0, 0.7496), (1.0, 0.7524)])
def test_static_share_over_the_rear_foot(gender, expected):
    com = f.centre_of_mass(ends(), gender)
    assert float(f.rear_share(com, at(0.13, 0), at(0.62, 0))) == pytest.approx(expected, abs=1e-4)


def test_dynamic_share_by_the_zero_moment_point():
    com, acceleration = at(0.20, 0.95), at(1.2, 2.0)
    rear, front = at(0.0, 0.0), at(0.50, 0.0)
    assert float(f.rear_share(com, rear, front)) == pytest.approx(0.600, abs=1e-9)
    assert f.zero_moment_point(com, acceleration)[0] == pytest.approx(0.10347, abs=1e-5)
    assert float(f.rear_share_dynamic(com, acceleration, rear, front)) == pytest.approx(
        0.7931, abs=1e-4
    )


def test_joint_flexion_from_three_points():
    assert float(f.flexion(at(0, 0.9), at(0.2, 0.5), at(0, 0.1))) == pytest.approx(53.130, abs=1e-3)
    image = f.flexion(at(100, -200), at(140, -300), at(110, -400))
    assert float(image) == pytest.approx(38.501, abs=1e-3)
    legs = {"front": E1[11:13], "rear": E1[8:10]}
    for side, expected in (("front", 41.032), ("rear", 51.080)):
        hip, knee, ankle = legs[side][0][1], legs[side][0][2], legs[side][1][2]
        assert float(f.flexion(at(*hip), at(*knee), at(*ankle))) == pytest.approx(
            expected, abs=1e-3
        )


def test_trunk_and_shoulder_line():
    hip, shoulder = at(0.30, 0.90), at(0.12, 1.38)
    assert float(f.inclination(hip, shoulder)) == pytest.approx(20.556, abs=1e-3)
    assert float(f.lean_to_net(hip, shoulder)) == pytest.approx(-20.556, abs=1e-3)
    assert float(f.line_tilt(at(-0.02, 1.30), at(0.26, 1.46))) == pytest.approx(29.745, abs=1e-3)


def test_separation_with_wrap():
    # The worked example counts yaw from side-on, positive towards the net; a turn is 90 minus that.
    shoulders = f.line_turn(np.zeros(3), np.array([0.36, -0.15, 0.0]))
    pelvis = f.line_turn(np.zeros(3), np.array([0.24, 0.0, 0.0]))
    assert float(f.wrap180(shoulders - pelvis)) == pytest.approx(22.620, abs=1e-3)
    assert float(f.wrap180(np.array(175.0 - -170.0))) == pytest.approx(-15.0)


def test_what_a_single_plane_shows():
    lean = f.inclination(np.zeros(3), at(np.tan(np.radians(25)) * np.cos(np.radians(30)), 1.0))
    assert float(lean) == pytest.approx(21.991, abs=1e-3)
    tilt = f.line_tilt(np.zeros(3), at(np.cos(np.radians(60)), np.tan(np.radians(20))))
    assert float(tilt) == pytest.approx(36.052, abs=1e-3)
    off = np.tan(np.radians(65 / 2)) * np.cos(np.radians(30))
    knee = f.flexion(at(0, 1), at(off, 0), at(0, -1))
    assert float(knee) == pytest.approx(57.773, abs=1e-3)


@pytest.mark.parametrize("film", sorted(path.stem for path in COMMITTED.glob("*.mp4")))
def test_agrees_with_the_metrics_of_the_committed_clips(film):
    truth = load_truth(COMMITTED / film)
    joints = np.array(truth["joints3d"])
    left = truth["handedness"] == "left"
    points = {}
    for i, name in enumerate(truth["joint_names"]):
        place = joints[:, i] * ([1.0, -1.0, 1.0] if left else [1.0, 1.0, 1.0])
        side, _, part = name.partition("_")
        if side in ("left", "right"):
            points[("L_" if (side == "left") != left else "R_") + part] = place
        else:
            points[name] = place
    # These two are not among the joints; placed roughly, they move the load share by under 0.012.
    points["vertex"] = 0.5 * (points["L_ear"] + points["R_ear"]) + [0.0, 0.0, 0.12]
    for side in "LR":
        points[f"{side}_hand"] = points[f"{side}_wrist"] + 0.3 * (
            points[f"{side}_wrist"] - points[f"{side}_elbow"]
        )
    seen = f.posture_metrics(points, 0.0)
    for name, expected in truth["frame_metrics"].items():
        difference = seen[name] - np.array(expected)
        if name.endswith("turn") or name == "separation":
            difference = f.wrap180(difference)
        tolerance = {
            "rear_load_share": 0.012,
            "lead_hip_push": 2e-3,
            "hip_ahead_of_front_foot": 2e-3,
            "mid_hip_height": 2e-3,
        }
        assert np.abs(difference).max() < tolerance.get(name, 0.1), name
