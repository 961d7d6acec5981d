"""Side by side: one body size, one floor line, the left-hander mirrored."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS
from models.contract.vocabulary import EventName, Handedness
from workers.report.crop import OUTSIDE, Crop
from workers.report.instants import PICTURED
from workers.report.matching import Side, body_length_px, matched_crops
from workers.report.side_by_side import matched_pictures
from workers.report.trajectory import trajectory_plot


def _side(case, label="A", **changes):
    side = Side(
        label,
        case.analysis.repetitions[0],
        case.track,
        case.analysis.handedness,
        case.frames,
        case.body,
        case.centre_of_mass,
    )
    return replace(side, **changes)


def _shrunk(case, factor):
    """The same film at another size."""
    return replace(
        case.track,
        xy=case.track.xy * factor,
        width=round(case.track.width * factor),
        height=round(case.track.height * factor),
    )


def test_body_length_does_not_depend_on_the_pose(right_side):
    # Trunk + thigh + shank of the rendered body in 3D, projected at its distance from the camera.
    case = right_side
    events = case.analysis.repetitions[0]
    body = case.body

    def at(name):
        return body.joint(name)[0]

    def mid(part):
        return CANONICAL_BODY.middle(body.joints[0], part)

    metres = (
        np.linalg.norm(mid("shoulder") - mid("hip"))
        + np.linalg.norm(at("front_hip") - at("front_knee"))
        + np.linalg.norm(at("front_knee") - at("front_ankle"))
    )
    upright = np.array([mid("hip"), mid("hip") + np.array([0, 0, 1.0])])
    a, b = body.camera.project(upright)
    expected = metres * np.linalg.norm(a - b)
    seen = body_length_px(case.track, events.start_s, events.end_s)
    assert seen == pytest.approx(expected, rel=0.06)


def test_body_length_is_none_when_the_legs_are_never_seen(right_side):
    xy = right_side.track.xy.copy()
    xy[:, 25:27] = np.nan
    track = replace(right_side.track, xy=xy)
    assert body_length_px(track, 0.0, 3.0) is None
    assert body_length_px(right_side.track, 50.0, 60.0) is None


def test_the_same_film_at_half_size_is_shown_alike(right_side):
    first = _side(right_side)
    second = _side(right_side, track=_shrunk(right_side, 0.5), body=None, centre_of_mass=None)
    first = replace(first, body=None, centre_of_mass=None)
    one, two = matched_crops(first, second, PICTURED)
    assert one.size == two.size
    assert two.scale == pytest.approx(2 * one.scale)
    frame = first.event_frame(EventName.TROPHY)
    for name in ("nose", "left_wrist", "right_ankle"):
        a = one.place(first.figure(frame).points[name])
        b = two.place(second.figure(frame).points[name])
        assert a == pytest.approx(b, abs=0.5)


def test_a_mirrored_film_of_a_left_hander_is_shown_alike(right_side):
    first = _side(right_side, body=None, centre_of_mass=None)
    swapped = LANDMARKS.mirror(right_side.track.xy, axis=0)
    swapped[..., 0] += right_side.track.width
    second = _side(
        right_side,
        track=replace(right_side.track, xy=swapped),
        handedness=Handedness.LEFT,
        body=None,
        centre_of_mass=None,
    )
    one, two = matched_crops(first, second, PICTURED)
    assert (one.mirrored, two.mirrored) == (False, True)
    frame = first.event_frame(EventName.CONTACT)
    a = one.place(first.figure(frame).points["right_wrist"])
    b = two.place(second.figure(frame).points["left_wrist"])
    assert a == pytest.approx(b, abs=1.0)


def test_pairs_are_made_for_shared_events_only(right_side, left_front_quarter):
    first, second = _side(right_side, "Before"), _side(left_front_quarter, "Model")
    pictures = matched_pictures(first, second)
    assert list(pictures) == [
        "pair-loading.jpg", "pair-loading-plain.jpg", "pair-contact.jpg", "pair-contact-plain.jpg",
    ]  # fmt: skip
    for data in pictures.values():
        with Image.open(io.BytesIO(data)) as image:
            assert image.format == "JPEG"
            assert image.width <= 2 * 720 + 12
    one_frame = {second.event_frame(EventName.CONTACT): np.zeros((720, 1280, 3), np.uint8)}
    assert list(matched_pictures(first, replace(second, frames=one_frame))) == [
        "pair-contact.jpg", "pair-contact-plain.jpg",
    ]  # fmt: skip
    assert matched_pictures(first, replace(second, frames={})) == {}


def test_a_crop_past_the_frame_is_filled_and_mirrored_pixels_agree_with_mirrored_points():
    frame = np.zeros((100, 200, 3), np.uint8)
    frame[40:44, 20:24] = (255, 0, 0)
    crop = Crop(-20, -10, 100, 120, 2.0)
    image = np.asarray(crop.cut(frame))
    assert image.shape == (240, 200, 3)
    assert tuple(image[5, 100]) == OUTSIDE
    assert tuple(image[100, 10]) == OUTSIDE
    x, y = crop.place([22, 42]).astype(int)
    assert image[y, x, 0] > 220
    mirrored = replace(crop, mirrored=True)
    x, y = mirrored.place([22, 42]).astype(int)
    assert np.asarray(mirrored.cut(frame))[y, x, 0] > 220


def test_an_even_crop_shows_even_sizes():
    crop = Crop(0, 0, 101.3, 77.7, 3.1).even()
    assert [side % 2 for side in crop.size] == [0, 0]


def test_paths_of_joints_keep_their_shape_and_break_at_gaps(right_side):
    paths = right_side.body.joints / right_side.body.stature_m
    second = paths.copy()
    second[50:60] = np.nan
    svg = str(
        trajectory_plot(
            paths, second, first_label="Before", second_label="After",
            joints=["hitting_wrist"], events=[(EventName.CONTACT, 130)],
        )
    )  # fmt: skip
    first, dashed = (part.split('"')[0] for part in svg.split('<path d="')[1:3])
    assert first.count("M") == 1
    assert dashed.count("M") == 2
    points = np.array(
        [[float(v) for v in p[1:].split()] for p in first.replace(" L", "|L").split("|")]
    )
    wrist = paths[:, 10][:, [0, 2]]
    # One scale for both axes: pixel steps are the same multiple of body heights in x and in z.
    px, world = np.ptp(points, axis=0), np.ptp(wrist, axis=0)
    assert px[0] / world[0] == pytest.approx(px[1] / world[1], rel=1e-3)
    assert "Before solid, After dashed" in svg


def test_paths_of_unequal_length_are_refused(right_side):
    paths = right_side.body.joints
    with pytest.raises(ValueError, match="shapes"):
        trajectory_plot(paths, paths[:-1], first_label="A", second_label="B")
    with pytest.raises(ValueError, match="finite"):
        trajectory_plot(paths * np.nan, paths * np.nan, first_label="A", second_label="B")
