"""Worked examples E1 to E9 and E13 of the project's serve reference, exact to rounding.

They are arithmetic on stated inputs: de Leva 1996 (J Biomech 29:1223-1230) for E1 and E2, moment
balance and the zero-moment point for E3, plane and space trigonometry for E4 to E7, free fall for
E8, differentiation noise for E13. E10 to E12 concern comparison and progress.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.contract.vocabulary import Sex
from workers.engine.freefall import fit_fall
from workers.engine.geometry import (
    elevation,
    flexion,
    inclination,
    separation,
    wrap180,
)
from workers.engine.load import (
    dynamic_share,
    static_share,
    zero_moment_point,
)
from workers.engine.mass import centre_of_segments
from workers.engine.segments import table
from workers.engine.smoothing import local_operators


def point(x: float, z: float) -> np.ndarray:
    return np.array([x, 0.0, z])


BODY = {
    "head": (point(0.06, 1.66), point(0.10, 1.46)),
    "trunk": (point(0.12, 1.38), point(0.30, 0.90)),
    "upper_arm:racket": (point(-0.02, 1.30), point(-0.28, 1.34)),
    "forearm:racket": (point(-0.28, 1.34), point(-0.22, 1.58)),
    "hand:racket": (point(-0.22, 1.58), point(-0.18, 1.66)),
    "upper_arm:toss": (point(0.26, 1.46), point(0.36, 1.72)),
    "forearm:toss": (point(0.36, 1.72), point(0.40, 1.98)),
    "hand:toss": (point(0.40, 1.98), point(0.41, 2.06)),
    "thigh:rear": (point(0.24, 0.90), point(0.36, 0.50)),
    "shank:rear": (point(0.36, 0.50), point(0.10, 0.12)),
    "foot:rear": (point(0.02, 0.08), point(0.24, 0.02)),
    "thigh:front": (point(0.36, 0.90), point(0.62, 0.54)),
    "shank:front": (point(0.62, 0.54), point(0.58, 0.10)),
    "foot:front": (point(0.50, 0.04), point(0.74, 0.02)),
}


@pytest.mark.parametrize(
    ("sex", "x", "z"),
    [(Sex.MALE, 0.252694, 1.013398), (Sex.FEMALE, 0.251309, 1.013522)],
)
def test_e1_centre_of_mass(sex: Sex, x: float, z: float) -> None:
    com = centre_of_segments(BODY, sex)
    assert com[0] == pytest.approx(x, abs=1e-6)
    assert com[2] == pytest.approx(z, abs=1e-6)


def test_e1_segment_centres_of_the_male_table() -> None:
    expected = {
        "head": (0.083904, 1.540480),
        "trunk": (0.197580, 1.173120),
        "thigh:front": (0.466470, 0.752580),
        "shank:rear": (0.245730, 0.332990),
        "foot:front": (0.605960, 0.031170),
        "hand:toss": (0.407900, 2.043200),
    }
    for name, (x, z) in expected.items():
        com = centre_of_segments({name: BODY[name]}, Sex.MALE)
        assert (com[0], com[2]) == (pytest.approx(x, abs=1e-6), pytest.approx(z, abs=1e-6))


@pytest.mark.parametrize(
    ("without", "dx", "dz"),
    [(("hand:racket", "hand:toss"), 0.001765, -0.010249), (("thigh:front",), -0.035264, 0.043024)],
)
def test_e1_missing_segments_are_renormalised(
    without: tuple[str, ...], dx: float, dz: float
) -> None:
    whole = centre_of_segments(BODY, Sex.MALE)
    part = centre_of_segments({k: v for k, v in BODY.items() if k not in without}, Sex.MALE)
    assert part[0] - whole[0] == pytest.approx(dx, abs=1e-6)
    assert part[2] - whole[2] == pytest.approx(dz, abs=1e-6)


@pytest.mark.parametrize(("sex", "total"), [(Sex.MALE, 1.0), (Sex.FEMALE, 0.9999)])
def test_de_leva_masses_sum(sex: Sex, total: float) -> None:
    # de Leva 1996, Table 4: 100.00 % (male), 99.99 % (female, rounding)
    rows = table(sex)
    single = rows["head"].mass + rows["trunk"].mass
    paired = sum(rows[n].mass for n in ("upper_arm", "forearm", "hand", "thigh", "shank", "foot"))
    assert single + 2 * paired == pytest.approx(total, abs=1e-9)


@pytest.mark.parametrize(("sex", "share"), [(Sex.MALE, 0.7496), (Sex.FEMALE, 0.7524)])
def test_e2_static_share(sex: Sex, share: float) -> None:
    rear, front = point(0.13, 0.0), point(0.62, 0.0)
    assert static_share(centre_of_segments(BODY, sex), rear, front) == pytest.approx(
        share, abs=5e-5
    )


def test_e3_dynamic_share() -> None:
    rear, front, com = point(0.0, 0.0), point(0.5, 0.0), point(0.20, 0.95)
    acceleration = np.array([1.2, 0.0, 2.0])
    assert static_share(com, rear, front) == pytest.approx(0.600, abs=1e-9)
    assert zero_moment_point(com, acceleration)[0] == pytest.approx(0.10347, abs=5e-6)
    share = float(dynamic_share(com, acceleration, rear, front))
    assert share == pytest.approx(0.7931, abs=5e-5)


def test_e4_knee_angles() -> None:
    hip, knee, ankle = np.array([[0, 0.9], [0.2, 0.5], [0, 0.1]])
    assert flexion(hip, knee, ankle) == pytest.approx(53.130, abs=5e-4)
    pixels = np.array([[100, 200], [140, 300], [110, 400]])
    assert flexion(*pixels) == pytest.approx(38.501, abs=5e-4)
    assert flexion(*(pixels * np.array([1, -1]))) == pytest.approx(38.501, abs=5e-4)
    for side, value in (("front", 41.032), ("rear", 51.080)):
        hip, knee = BODY[f"thigh:{side}"]
        assert flexion(hip, knee, BODY[f"shank:{side}"][1]) == pytest.approx(value, abs=5e-4)


def test_e5_trunk_and_shoulder_line() -> None:
    shoulder, hip = BODY["trunk"]
    assert inclination(hip, shoulder) == pytest.approx(20.556, abs=5e-4)
    assert elevation(point(-0.02, 1.30), point(0.26, 1.46)) == pytest.approx(29.745, abs=5e-4)


def test_e6_separation_with_wrap() -> None:
    zero = np.zeros(3)
    shoulders, pelvis = np.array([0.36, -0.15, 0.0]), np.array([0.24, 0.0, 0.0])
    assert separation(zero, pelvis, zero, shoulders) == pytest.approx(22.620, abs=5e-4)
    assert wrap180(175.0 + 170.0) == pytest.approx(-15.0)


def test_e7_projection_bias_of_a_plane_view() -> None:
    # why angles are taken in space: the same formulas on projected points show the bias
    def seen(vector: np.ndarray, turn_deg: float) -> np.ndarray:
        along = vector[0] * np.cos(np.radians(turn_deg))
        return np.array([along, 0.0, vector[2]])

    zero = np.zeros(3)
    lean = np.array([np.tan(np.radians(25)), 0.0, 1.0])
    assert inclination(zero, seen(lean, 30)) == pytest.approx(21.991, abs=5e-4)
    tilt = np.array([1.0, 0.0, np.tan(np.radians(20))])
    assert elevation(zero, seen(tilt, 60)) == pytest.approx(36.052, abs=5e-4)
    half = np.radians(32.5)
    hip, ankle = (np.array([-np.sin(half), 0.0, sign * np.cos(half)]) for sign in (1, -1))
    assert flexion(seen(hip, 30), zero, seen(ankle, 30)) == pytest.approx(57.773, abs=5e-4)


def test_e8_fall_of_a_toss_and_a_wrong_clock() -> None:
    frames, rows = np.array([0, 12, 24]), np.array([100.00, 139.24, 256.96])
    assert fit_fall(frames / 60, rows).acceleration == pytest.approx(1962.0, rel=1e-6)
    metres = rows * 0.005  # 9.81 / 1962
    assert fit_fall(frames / 30, metres).acceleration == pytest.approx(9.81 / 2.0**2, rel=1e-6)


def test_e13_differentiation_noise_of_three_points() -> None:
    # a parabola through three points: velocity SD s/(sqrt 2 dt), acceleration SD sqrt 6 s/dt²
    time = np.arange(5) / 60
    _, first, second = local_operators(time[1:4], 1e-9)
    noise = 0.005
    assert noise * np.linalg.norm(first.toarray()[1]) == pytest.approx(0.2121, abs=2e-3)
    assert noise * np.linalg.norm(second.toarray()[1]) == pytest.approx(44.09, abs=0.05)
