"""Films that never are files: what is stored comes back, and a body is drawn where it is true."""

from __future__ import annotations

import json

import numpy as np
import pytest

from models.training.bulk.packs import pack, read
from models.training.bulk.stored import METRE, PIXEL, SURE, stored
from models.training.rendered.camera import Camera, look_at


def camera(k1: float) -> Camera:
    at = np.array([6.0, -3.0, 1.5])
    turn = look_at(at, np.array([0.0, 0.0, 1.0]), 4.0)
    return Camera(640, 360, 420.0, turn, at, 0.0, 6.7, k1=k1)


@pytest.mark.parametrize("k1", [0.0, -0.12, 0.08])
def test_a_wide_lens_bends_rays_and_pixels_alike(k1: float) -> None:
    lens = camera(k1)
    rng = np.random.default_rng(3)
    points = rng.uniform([-1.5, -1.5, 0.0], [1.5, 1.5, 2.5], (200, 3))
    seen = lens.to_camera(points)
    rays = lens.rays(lens.pixels(points))
    assert rays == pytest.approx(seen / seen[:, 2:], abs=1e-4)


def test_barrel_distortion_draws_points_to_the_middle() -> None:
    # OpenCV's radial model with k1 < 0 (camera calibration documentation): the corners move in.
    point = np.array([[0.0, 2.5, 2.6]])
    middle = np.array([320.0, 180.0])
    plain = np.linalg.norm(camera(0.0).pixels(point) - middle)
    assert np.linalg.norm(camera(-0.12).pixels(point) - middle) < plain


def test_films_come_back_from_a_pack(tmp_path) -> None:
    rng = np.random.default_rng(4)
    frames, files, joints = 5, [], []
    for number in range(3):
        joints.append(rng.uniform(-3, 3, (frames, 23, 3)))
        first = rng.uniform(0, 600, (frames, 33, 2))
        first[1] = np.nan
        arrays = {
            "time_s": np.arange(frames, dtype=np.float32) / 60,
            "joints3d": stored(joints[-1], METRE),
            "joints2d": stored(joints[-1][..., :2] * 100, PIXEL),
            "first_px": stored(first, PIXEL),
            "first_sure": stored(np.full((frames, 33), 0.75), SURE),
            "second_px": stored(first[:, :17], PIXEL),
            "second_sure": stored(np.full((frames, 17), 0.5), SURE),
            "world": stored(np.zeros((frames, 33, 3)), METRE),
            "score": stored(np.ones(frames), SURE),
            "camera_r": np.eye(3, dtype=np.float32),
            "camera_at": np.zeros(3, np.float32),
            "camera_k": np.array([500, 0, 640, 480], np.float32),
            "azimuth_deg": np.float32(90 + number),
            "stature_m": np.float32(1.8),
            "gender": np.float32(0),
            "left_handed": np.bool_(number == 1),
            "kind": "serve",
            "generator": "bumps",
            "fps": np.float32(60),
            "event_repetition": np.array([0], np.int16),
            "event_name": np.array(["contact"], "U16"),
            "event_s": np.array([0.05], np.float32),
            "notes": json.dumps({"index": number}),
        }
        files.append(tmp_path / f"film-{number}.npz")
        np.savez_compressed(files[-1], **arrays)
    (packed,) = pack(files, tmp_path / "packs")
    back = list(read(packed))
    assert [film.notes["index"] for film in back] == [0, 1, 2]
    assert [film.left_handed for film in back] == [False, True, False]
    for film, true in zip(back, joints, strict=True):
        assert film.joints3d == pytest.approx(true, abs=0.6 * METRE)
        assert np.isnan(film.rows[1].blaze[:, :2]).all()
        assert film.rows[0].blaze[0, 2] == pytest.approx(0.75, abs=SURE)
        assert film.events == [(0, "contact", pytest.approx(0.05))]
        track = film.track()
        assert track is not None
        assert len(track) == frames


def test_nearer_faces_hide_farther_ones_and_backs_are_left_out() -> None:
    pytest.importorskip("numba")
    from models.training.bulk.quick_raster import draw

    square = np.array([[2.0, 2.0], [2.0, 14.0], [14.0, 14.0], [14.0, 2.0]], np.float32)
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    depth, rgba = np.zeros((16, 16), np.float32), np.zeros((16, 16, 4), np.float32)
    ones = np.ones(4, np.float32)
    for far, grey in ((2.0, 0.8), (3.0, 0.2)):
        tint = np.full((2, 3), grey, np.float32)
        draw(square, ones * np.float32(far), faces, ones, tint, depth, rgba, np.float32(1), True)
    inside = rgba[..., 3] > 0
    assert inside.sum() == 12 * 12
    assert rgba[7, 7] == pytest.approx([0.8, 0.8, 0.8, 1.0])
    turned = np.zeros_like(rgba)
    draw(square, ones, faces[:, ::-1].copy(), ones, tint, depth * 0, turned, np.float32(1), True)
    assert not turned.any()
