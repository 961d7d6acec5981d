"""Pictures: marks lie where the truth of the rendered clips says, and nothing is invented."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from models.contract.tracks import Camera
from models.contract.vocabulary import EventName, Handedness
from models.words import english
from workers.report.canvas import Layer, font, wrapped
from workers.report.crop import Crop, around
from workers.report.figure import figure_at
from workers.report.instants import instants_of
from workers.report.marks import draw
from workers.report.palette import BALANCE, FEET, HIPS, SHOULDERS
from workers.report.pictures import event_pictures, frames_wanted, metrics_at, picture_name

CASES = ("right_side", "left_front_quarter")


def _loading(case):
    return case.analysis.repetitions[0].events[EventName.LOADING].frame


def _close(image, colour, tolerance=40):
    return np.all(np.abs(np.asarray(image, dtype=int) - np.array(colour)) < tolerance, axis=-1)


@pytest.fixture(params=CASES)
def case(request):
    return request.getfixturevalue(request.param)


def _middle_of_foot(case, row, side):
    return sum(case.body.joint(f"{side}_{part}")[row, :2] for part in ("heel", "toe")) / 2


def test_the_split_between_the_feet_is_the_truth_of_the_rendered_body(case):
    # Truth: the moments of the rendered body's weight about the middles of its feet balance
    # (statics), on the clip's own joints; the contract counts the weight between these.
    frame = _loading(case)
    figure = figure_at(frame, case.track, case.analysis.handedness, case.body, case.centre_of_mass)
    rear, front = (_middle_of_foot(case, frame, side) for side in ("rear", "front"))
    base = np.linalg.norm(front - rear)
    arm = (front - case.centre_of_mass[frame, :2]) @ (front - rear) / base
    assert figure.balance is not None
    assert figure.balance.share == pytest.approx(arm / base, abs=1e-6)
    # With the ankles instead it would be another: the clip's own file has that share.
    assert figure.balance.share != pytest.approx(float(case.share[frame]), abs=0.005)


def test_the_balance_marks_stand_on_the_feet_of_the_picture(case):
    frame = _loading(case)
    figure = figure_at(frame, case.track, case.analysis.handedness, case.body, case.centre_of_mass)
    rear, front = figure.rear, figure.front
    assert (rear, front) == (
        ("right", "left") if case.truth["handedness"] == "right" else ("left", "right")
    )
    for side, mark in ((rear, figure.balance.rear), (front, figure.balance.front)):
        heel, toe = (figure.points[f"{side}_{part}"] for part in ("heel", "foot_index"))
        # The floor is straight below the middle of the foot, whose joints lie over it.
        assert abs(mark[0] - (heel[0] + toe[0]) / 2) < 5
        assert -2 < mark[1] - (heel[1] + toe[1]) / 2 < 30


def test_where_the_weight_should_fall_is_drawn_at_the_share_of_the_rules(right_side):
    case = right_side
    figure = figure_at(
        _loading(case), case.track, case.analysis.handedness, case.body, case.centre_of_mass
    )
    crop = Crop(350, 150, 450, 560, 2.0)
    found = []
    for goal in (0.4, 0.7):
        plain, marked = (
            np.asarray(_drawn(figure, crop, goal=one), dtype=int) for one in (None, goal)
        )
        _, columns = np.nonzero(np.abs(marked - plain).sum(axis=2) > 60)
        found.append(float(columns.mean()))
        rear, front = figure.balance.rear[0], figure.balance.front[0]
        expected = 2.0 * (front + goal * (rear - front) - 350)
        assert found[-1] == pytest.approx(expected, abs=3)
    assert abs(found[1] - found[0]) > 20


def test_the_mark_stands_where_the_number_says(right_side):
    case = right_side
    figure = figure_at(
        _loading(case), case.track, case.analysis.handedness, case.body, case.centre_of_mass
    )
    share = next(m for m in case.analysis.repetitions[0].metrics if m.key == "rear_foot_load_share")
    share = share.model_copy(update={"value": 0.2, "low": 0.15, "high": 0.25})
    crop = Crop(350, 150, 450, 560, 2.0)
    image = np.asarray(_drawn(figure, crop, share=share))
    x, y = crop.place(figure.balance.at(0.2)).round().astype(int)
    assert _close(image, BALANCE)[y - 12 : y + 12, x - 4 : x + 4].any()


def _drawn(figure, crop, **more):
    layer = Layer(*crop.size)
    draw(layer, figure, crop.place, english(), unit=5.0, labels=False, **more)
    return layer.over(Image.new("RGB", crop.size, (128, 128, 128)))


@pytest.fixture(scope="module")
def drawn(right_side):
    """The marks of one frame on plain grey, at twice the size of the frame."""
    case = right_side
    figure = figure_at(
        _loading(case), case.track, case.analysis.handedness, case.body, case.centre_of_mass
    )
    crop = Crop(350, 150, 450, 560, 2.0)
    layer = Layer(*crop.size)
    draw(layer, figure, crop.place, english(), unit=5.0, labels=False)
    return figure, crop, np.asarray(layer.over(Image.new("RGB", crop.size, (128, 128, 128))))


@pytest.mark.parametrize(
    ("joint", "colour", "at"), [("shoulder", SHOULDERS, 0.5), ("hip", HIPS, 0.0)]
)
def test_the_line_across_runs_through_both_joints(drawn, joint, colour, at):
    figure, crop, image = drawn
    left, right = (crop.place(p) for p in figure.pair(joint))
    seen = _close(image, colour)
    for share in (0.02, 0.98, at):
        x, y = (left + share * (right - left)).round().astype(int)
        assert seen[y - 3 : y + 4, x - 3 : x + 4].any()
    rows, columns = np.nonzero(seen)
    # Every coloured pixel lies on that line, out to the end ticks.
    along = (right - left) / np.linalg.norm(right - left)
    offset = np.column_stack([columns, rows]) - left
    across = np.abs(offset @ np.array([-along[1], along[0]]))
    assert across.max() < 16
    assert np.percentile(across, 50) < 4


def test_the_plumb_line_falls_from_the_centre_of_mass_to_the_floor(drawn):
    figure, crop, image = drawn
    top, bottom = crop.place(figure.balance.centre_of_mass), crop.place(figure.balance.floor)
    rows, columns = np.nonzero(_close(image, BALANCE))
    line = (rows > top[1] + 20) & (rows < bottom[1] - 45)
    assert line.sum() > 200
    assert np.abs(columns[line] - top[0]).max() < 8
    assert rows.min() == pytest.approx(top[1], abs=16)


def test_the_line_between_the_feet_joins_the_feet(drawn):
    figure, crop, image = drawn
    _, columns = np.nonzero(_close(image, FEET))
    rear, front = crop.place(figure.balance.rear), crop.place(figure.balance.front)
    assert columns.min() == pytest.approx(min(rear[0], front[0]), abs=6)
    assert columns.max() == pytest.approx(max(rear[0], front[0]), abs=6)


def test_pictures_of_every_event_are_named_and_readable(case):
    set_up = case.analysis.repetitions[0].events[EventName.SET_UP].frame
    assert set(frames_wanted(case.analysis)) == {set_up, *case.frames}
    pictures = event_pictures(
        case.frames, case.analysis, case.track, [case.body], [case.centre_of_mass]
    )
    # The loaded instant and the trophy position are one frame of these clips: one picture.
    assert list(pictures) == [
        "serve-1-loading.jpg", "serve-1-loading-plain.jpg",
        "serve-1-contact.jpg", "serve-1-contact-plain.jpg",
    ]  # fmt: skip
    sizes = set()
    for name, data in pictures.items():
        with Image.open(io.BytesIO(data)) as image:
            assert image.format == "JPEG"
            assert image.mode == "RGB"
            if name.endswith("-plain.jpg"):
                assert image.width <= 480
                assert len(data) < 60_000
            else:
                sizes.add(image.width)
        assert len(data) < 400_000
    assert len(sizes) == 1


def test_without_a_fit_the_seen_marks_remain_and_the_balance_is_not_drawn(right_side):
    case = right_side
    figure = figure_at(_loading(case), case.track, case.analysis.handedness)
    assert figure.balance is None
    crop = Crop(350, 150, 450, 560, 2.0)
    layer = Layer(*crop.size)
    draw(layer, figure, crop.place, english(), unit=5.0)
    image = np.asarray(layer.over(Image.new("RGB", crop.size, (128, 128, 128))))
    assert _close(image, SHOULDERS).sum() > 300
    assert _close(image, BALANCE, 20).sum() == 0
    assert _close(image, FEET, 20).sum() == 0
    assert len(event_pictures(case.frames, case.analysis, case.track)) == 4


def test_a_body_without_a_camera_draws_no_balance(right_side):
    case = right_side
    body = replace(case.body, camera=None)
    figure = figure_at(
        _loading(case), case.track, case.analysis.handedness, body, case.centre_of_mass
    )
    assert figure.balance is None


def test_a_body_that_lies_beside_the_person_draws_no_balance(case):
    shift = np.array([[1, 0, 150], [0, 1, 0], [0, 0, 1.0]])
    camera = replace(case.body.camera, K=shift @ case.body.camera.K)
    body = replace(case.body, camera=camera)
    figure = figure_at(
        _loading(case), case.track, case.analysis.handedness, body, case.centre_of_mass
    )
    assert figure.points
    assert figure.balance is None


def test_unseen_landmarks_are_left_out_and_an_empty_frame_still_gives_a_picture(right_side):
    case = right_side
    xy = case.track.xy.copy()
    xy[:] = np.nan
    track = replace(case.track, xy=xy)
    assert figure_at(_loading(case), track, Handedness.RIGHT).points == {}
    assert len(event_pictures(case.frames, case.analysis, track)) == 4


def test_instants_apart_have_pictures_of_their_own(right_side):
    one = right_side.analysis.repetitions[0]
    trophy = one.events[EventName.TROPHY]
    later = trophy.model_copy(update={"time_s": trophy.time_s + 0.1, "frame": trophy.frame + 6})
    apart = one.model_copy(update={"events": one.events | {EventName.TROPHY: later}})
    assert [i.events[0].value for i in instants_of(apart)] == [
        "set_up", "loading", "trophy", "contact",
    ]  # fmt: skip
    assert [i.events for i in instants_of(one)][1] == (EventName.LOADING, EventName.TROPHY)
    assert instants_of(one)[1].frame == one.events[EventName.LOADING].frame


def test_an_unknown_hand_names_no_rear_or_front(right_side):
    figure = figure_at(_loading(right_side), right_side.track, Handedness.UNKNOWN)
    assert figure.rear is None
    assert figure.front is None


def test_a_missing_frame_leaves_its_picture_out(right_side):
    case = right_side
    contact = case.analysis.repetitions[0].events[EventName.CONTACT].frame
    frames = {contact: case.frames[contact]}
    pictures = event_pictures(frames, case.analysis, case.track)
    assert list(pictures) == ["serve-1-contact.jpg", "serve-1-contact-plain.jpg"]
    # The crop does not depend on which frames are at hand, so films can be read in parts.
    whole = event_pictures(case.frames, case.analysis, case.track)
    assert pictures["serve-1-contact.jpg"] == whole["serve-1-contact.jpg"]


def test_measured_numbers_come_before_those_that_are_not_measurable(right_side):
    metrics = metrics_at(right_side.analysis.repetitions[0], [EventName.CONTACT])
    assert [m.measurable for m in metrics] == [True] * 4 + [False]
    assert metrics_at(right_side.analysis.repetitions[0], [EventName.LOADING])[0].key == (
        "rear_foot_load_share"
    )


def test_the_crop_keeps_the_figures_and_stays_inside_the_frame(case):
    repetition = case.analysis.repetitions[0]
    figures = [
        figure_at(repetition.events[event].frame, case.track, case.analysis.handedness)
        for event in (EventName.LOADING, EventName.CONTACT)
    ]
    crop = around(figures, case.track.width, case.track.height)
    assert crop.left >= 0
    assert crop.top >= 0
    assert crop.left + crop.width <= case.track.width + 1e-6
    assert crop.top + crop.height <= case.track.height + 1e-6
    for figure in figures:
        placed = crop.place(figure.extent())
        assert placed.min() >= 0
        assert np.all(placed <= np.array(crop.size))


def test_a_crop_of_a_tall_frame_stays_inside_it():
    track_size = (720, 1280)
    crop = around([], *track_size)
    assert (crop.left, crop.top, crop.width) == (0, 0, 720)
    assert crop.size[0] <= 1080
    assert crop.size[1] <= 1460


def test_the_typeface_has_letters_beyond_ascii_and_text_is_wrapped():
    blank = bytes(font(40).getmask("\uffff"))
    assert all(bytes(font(40).getmask(c)) != blank for c in "äéñřşøßжλ°–·…×")
    lines = wrapped("one two three four five six seven", 20, 100)
    assert " ".join(lines) == "one two three four five six seven"
    assert all(font(20).getlength(line) <= 100 for line in lines)


def test_picture_names_tell_kind_number_and_event(right_side):
    repetition = right_side.analysis.repetitions[0]
    assert picture_name(repetition, 3, EventName.RACKET_LOW) == "serve-3-racket-low.jpg"


def test_the_fixture_camera_projects_the_body_onto_the_seen_joints(case):
    # Guards the test data itself: mirrored or not, court frame to picture.
    assert isinstance(case.body.camera, Camera)
    frame = _loading(case)
    pixels = case.body.camera.project(case.body.joint("front_hip")[frame])
    side = "right" if case.body.mirrored else "left"
    seen = figure_at(frame, case.track, case.analysis.handedness).points[f"{side}_hip"]
    assert np.linalg.norm(pixels - seen) < 5
