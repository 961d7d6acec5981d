"""Faces in pictures and films of a report: one that was planted is in neither, whoever has it."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from models.contract.skeleton import KEYPOINTS, LANDMARKS
from models.training.guard.frozen import unpack
from models.training.rendered.dataset import COMMITTED, load_truth
from tests.films import write_film
from tests.unit.pipeline.fakes import track
from tests.unit.report.conftest import Case, load
from workers.engine.interface import EngineResult
from workers.pipeline.faces import FaceCover, face_cover, heads_of_person
from workers.pipeline.stages import draw_film, draw_pictures, shown_stretches
from workers.pose.finder import Person
from workers.report.faces import FACE
from workers.video.clip import open_clip
from workers.video.limits import DecodeLimits

DATA = Path(__file__).parents[2] / "data"
HEAD = [KEYPOINTS.index(name) for name in ("nose", "left_eye", "right_eye", "left_ear")]
PLANTED = np.array([[255, 0, 255], [0, 255, 0]], np.uint8)
"""Magenta and green: side by side nobody else wears them, mixed they are grey."""


def detail(picture: np.ndarray) -> np.ndarray:
    """What is finer than a face's features: the picture less its means over 7 pixels."""
    return np.asarray(picture.astype(float) - cv2.blur(picture.astype(float), (7, 7)))


def planted_pixels(picture: np.ndarray) -> int:
    """Count strongly green or magenta pixels."""
    red, green, blue = picture.astype(int).transpose(2, 0, 1)
    apart = green - (red + blue) / 2
    return int(((np.abs(apart) > 110) & (np.abs(red - blue) < 90)).sum())


def planted_in(jpeg: bytes) -> int:
    return planted_pixels(np.asarray(Image.open(io.BytesIO(jpeg))))


@pytest.fixture(scope="module")
def case() -> Case:
    return load("right_side")


@pytest.fixture(scope="module")
def film(case: Case, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A still court on which only a chequered face moves, where the server's is."""
    court = np.full((case.track.height, case.track.width, 3), 120, np.uint8)
    faces = np.nanmean(case.track.xy[:, FACE], axis=1)
    torsos = case.track.xy[:, LANDMARKS.pair("shoulder")] - case.track.xy[:, LANDMARKS.pair("hip")]
    half = max(6, round(0.2 * float(np.median(np.hypot(*torsos.mean(axis=1).T)))))
    cell = max(3, half // 2)
    v, u = np.mgrid[: 2 * half, : 2 * half] // cell

    def paint(index: int) -> np.ndarray:
        picture = court.copy()
        left, top = (faces[min(index, len(faces) - 1)] - half).round().astype(int)
        picture[top : top + 2 * half, left : left + 2 * half] = PLANTED[(u + v) % 2]
        return picture

    facts = case.analysis.clip
    path = tmp_path_factory.mktemp("faces") / "planted.mp4"
    options = {"crf": "1"}
    return write_film(
        path, facts.frames, rate=round(facts.frame_rate), paint=paint, codec="libx264",
        pixel_format="yuv444p", options=options,
    )  # fmt: skip


def nobody(_frame: np.ndarray) -> tuple[Person, ...]:
    return ()


def test_a_planted_face_is_in_no_picture(case: Case, film: Path) -> None:
    bodies = (case.body,)
    shown = draw_pictures(film, case.analysis, case.track, bodies, DecodeLimits())
    cover = FaceCover(case.track, nobody)
    hidden = draw_pictures(film, case.analysis, case.track, bodies, DecodeLimits(), cover=cover)
    assert set(shown) == set(hidden)
    assert len(shown) >= 6
    counts = {name: [planted_in(one[name]) for one in (shown, hidden)] for name in shown}
    assert all(before > 100 for before, _ in counts.values()), counts
    assert all(after < 0.02 * before for before, after in counts.values()), counts


def test_a_planted_face_is_in_no_frame_of_the_film(case: Case, film: Path) -> None:
    found = EngineResult.__new__(EngineResult)  # only its bodies are asked for
    object.__setattr__(found, "bodies", (case.body,))
    made = [
        draw_film(film, case.analysis, case.track, found, DecodeLimits(), cover=cover)
        for cover in (None, FaceCover(case.track, nobody))
    ]
    most = []
    for data in made:
        assert data is not None
        with av.open(io.BytesIO(data)) as container:
            frames = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
        most.append([planted_pixels(frame) for frame in frames])
    assert len(most[0]) == len(most[1])
    assert np.median(most[0]) > 30
    assert max(most[1]) < 0.1 * np.median(most[0])


def test_a_rendered_head_loses_its_detail_and_the_rest_is_untouched() -> None:
    """Truth of a rendered serve (CC0); its joints are those of the networks, frozen."""
    truth = load_truth(COMMITTED / "000.mp4")
    names = truth["joint_names"]
    face = [names.index(name) for name in ("nose", "left_eye", "right_eye", "left_ear")]
    server = unpack((DATA / "tracks" / "000.npz").read_bytes())
    cover = FaceCover(server, nobody)
    left = []
    with open_clip(COMMITTED / "000.mp4", DecodeLimits()) as clip:
        for frame in clip:
            if frame.index % 6:
                continue
            hidden = cover.hidden(frame.index, frame.rgb)
            points = np.array(truth["joints2d"][frame.index])[face]
            v, u = np.mgrid[: frame.rgb.shape[0], : frame.rgb.shape[1]]
            apart = np.min([np.hypot(u + 0.5 - x, v + 0.5 - y) for x, y in points], axis=0)
            assert np.array_equal(hidden[apart > 120], frame.rgb[apart > 120])
            near = apart < 8
            before, after = detail(frame.rgb)[near], detail(hidden)[near]
            left.append(
                (after.std() / before.std(), np.corrcoef(before.T.ravel(), after.T.ravel())[0, 1])
            )
    assert len(left) > 30
    assert max(share for share, _ in left) < 0.2
    assert abs(np.median([correlation for _, correlation in left])) < 0.25


@pytest.fixture(scope="module")
def two_people() -> tuple[np.ndarray, list[np.ndarray]]:
    """One rendered player twice in a frame, once mirrored, with both faces' places."""
    crop = cv2.imread(str(DATA / "pose" / "serve_crop.png"))[..., ::-1]
    truth = json.loads((DATA / "pose" / "truth.json").read_text())
    exact = np.array(truth["serve_crop.png"]["coco17"])
    frame = np.full((400, 900, 3), 110, np.uint8)
    frame[100:356, 80:336] = crop
    frame[100:356, 560:816] = crop[:, ::-1]
    mirrored = exact * [-1, 1] + np.array([256, 0])
    places = zip((exact, mirrored), np.array([[80, 100], [560, 100]]), strict=True)
    return frame, [(points + at)[HEAD] for points, at in places]


def test_both_of_two_people_are_hidden_though_only_one_is_followed(
    two_people: tuple[np.ndarray, list[np.ndarray]],
) -> None:
    frame, faces = two_people
    hidden = face_cover(track(10, seen=False)).hidden(3, frame)
    v, u = np.mgrid[:400, :900] + 0.5
    for points in faces:
        near = np.min([np.hypot(u - x, v - y) for x, y in points], axis=0) < 4
        assert detail(hidden)[near].std() < 0.2 * detail(frame)[near].std()
    away = np.min([np.hypot(u - x, v - y) for face in faces for x, y in face], axis=0) > 90
    assert np.array_equal(hidden[away], frame[away])


def test_a_person_whom_the_finder_loses_stays_hidden() -> None:
    frame = np.random.default_rng(0).integers(0, 256, (48, 64, 3), dtype=np.uint8)
    points = np.zeros((17, 3))
    points[:5] = [20, 10, 0.9]
    points[[5, 6]] = [20, 18, 0.9]
    points[[11, 12]] = [20, 38, 0.9]
    person = Person(np.array([10.0, 5.0, 30.0, 45.0]), 0.8, points)
    assert len(heads_of_person(person)) == 1
    looks = iter([[person], [], [], []])
    cover = FaceCover(replace(track(60, seen=False)), lambda _frame: next(looks, []))
    made = dict(cover.film(((index, frame) for index in range(60)), [(0.0, 0.5)]))
    for index in range(31):
        assert (made[index][10, 20] != frame[10, 20]).any(), index
        assert np.array_equal(made[index][40:, 50:], frame[40:, 50:])
    assert not made[45].any()  # outside what is shown nothing is left at all


def test_stretches_reach_beyond_what_a_film_shows(case: Case) -> None:
    (stretch,) = shown_stretches(case.analysis)
    one = case.analysis.repetitions[0]
    assert stretch[0] <= one.start_s - 0.5
    assert stretch[1] >= one.end_s + 0.5


def test_the_servers_head_does_not_stay_behind_on_the_body() -> None:
    """Found by both, it goes where the track says; only others are held where they were."""
    frame = np.random.default_rng(0).integers(0, 256, (400, 600, 3), dtype=np.uint8)

    def person(left: float) -> Person:
        points = np.zeros((17, 3))
        points[:5] = [left, 100, 0.9]
        points[[5, 6]] = [left, 110, 0.9]
        points[[11, 12]] = [left, 140, 0.9]
        return Person(np.array([left - 10, 90.0, left + 10, 200.0]), 0.8, points)

    server = track(60)
    xy = server.xy
    xy[:30, :, 0], xy[30:, :, 0] = 100.0, 300.0  # a jump between two pictures
    xy[:, FACE, 1] = 100.0
    xy[:, LANDMARKS.pair("shoulder"), 1] = 110.0
    xy[:, LANDMARKS.pair("hip"), 1] = 140.0
    looks = iter([[person(100.0), person(500.0)], []])
    cover = FaceCover(replace(server, width=600, height=400), lambda _frame: next(looks))
    made = cover.all_hidden({10: frame, 40: frame})
    assert (made[10][100, [100, 500]] != frame[100, [100, 500]]).any(axis=1).all()
    assert (made[40][100, [300, 500]] != frame[100, [300, 500]]).any(axis=1).all()
    assert np.array_equal(made[40][60:150, 60:150], frame[60:150, 60:150])
