"""The target by lines of the court: ITF courts seen by drawn cameras.

Court lines after the ITF Rules of Tennis (rule 1 and appendix): baseline, singles and doubles side
lines 4.115 and 5.485 m from the middle, service lines 6.40 m from the net, which is 11.885 m away.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.tracks import FloatArray
from workers.engine.camera import LevelCamera
from workers.engine.court_lines import line_heading

SIZE = (1280, 720)
COURT = np.array(
    [
        [[0.0, -5.485], [0.0, 5.485]],
        [[0.0, 4.115], [11.885, 4.115]],
        [[0.0, -4.115], [11.885, -4.115]],
        [[0.0, 5.485], [11.885, 5.485]],
        [[0.0, -5.485], [11.885, -5.485]],
        [[5.485, -4.115], [5.485, 4.115]],
        [[5.485, 0.0], [11.885, 0.0]],
    ]
)
WIDE = 0.05
"""Width of a line, metres: both of its edges are found."""
EDGES = np.concatenate([COURT - WIDE / 2, COURT + WIDE / 2])
SD = float(np.radians(5.0))


def seen(camera: LevelCamera, heading: float, noise_px: float = 0.4, seed: int = 1) -> FloatArray:
    """Ends (N, 2, 2) of the pieces of the court that the picture shows, the player 8 m away."""
    rng = np.random.default_rng(seed)
    share = np.linspace(0.0, 1.0, 61)[:, None]
    c, s = np.cos(heading), np.sin(heading)
    found = []
    for first, last in EDGES:
        court = first * (1.0 - share) + last * share
        level = np.stack([c * court[:, 0] - s * court[:, 1], s * court[:, 0] + c * court[:, 1]], 1)
        level[:, 1] += 8.0
        points = np.column_stack([level, np.full(len(level), camera.floor_m)])
        uv = camera.pixels(points)
        shown = (uv > 0).all(1) & (uv < np.array(SIZE)).all(1) & (points[:, 1] > 0.5)
        rows = np.flatnonzero(shown)
        if len(rows) > 3 and np.linalg.norm(uv[rows[-1]] - uv[rows[0]]) > 50.0:
            found.append(uv[[rows[0], rows[-1]]])
    return np.array(found).reshape(-1, 2, 2) + noise_px * rng.standard_normal((len(found), 2, 2))


@given(st.floats(0.0, 360.0), st.floats(-6.0, 6.0), st.integers(0, 99))
def test_lines_tell_the_target_where_the_body_errs(azimuth: float, off: float, seed: int) -> None:
    true = float(np.radians(azimuth - 90.0))
    camera = LevelCamera(1400.0, (640.0, 360.0), pitch=0.04, roll=0.01)
    ends = seen(camera, true, seed=seed)
    body = true + float(np.radians(off))
    found = line_heading(ends, SIZE[0], camera, body, SD)
    if found is not None:  # from some places too few lines are seen
        assert abs(found[0] - true) <= 2.5 * found[1]
        assert found[1] < SD


@pytest.mark.parametrize("azimuth", [130.0, 150.0, 165.0, 180.0, 195.0])
def test_a_camera_known_badly_does_not_spoil_it(azimuth: float) -> None:
    true = float(np.radians(azimuth - 90.0))
    camera = LevelCamera(1500.0, (640.0, 360.0), pitch=0.05, roll=0.015)
    fitted = LevelCamera(1100.0, (640.0, 360.0))
    found = line_heading(seen(camera, true), SIZE[0], fitted, true + 0.1, SD)
    assert found is not None
    assert abs(np.degrees(found[0] - true)) < 3.0


def test_lines_of_no_court_say_nothing() -> None:
    rng = np.random.default_rng(3)
    middle = rng.uniform((100, 450), (1180, 700), (30, 2))
    angle = rng.uniform(0.0, np.pi, 30)
    half = 40.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    ends = np.stack([middle - half, middle + half], axis=1)
    camera = LevelCamera(1400.0, (640.0, 360.0))
    found = line_heading(ends, SIZE[0], camera, 0.3, SD)
    assert found is None or abs(found[0] - 0.3) < 2.0 * SD


def test_what_stands_over_the_horizon_is_left_out() -> None:
    camera = LevelCamera(1400.0, (640.0, 360.0))
    ends = seen(camera, 0.0)
    over = ends * np.array([1.0, -1.0]) + np.array([0.0, 720.0])
    assert line_heading(over, SIZE[0], camera, 0.05, SD) is None
