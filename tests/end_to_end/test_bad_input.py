"""Every bad input ends in a typed problem that says what to do, and the next clip is served.

One worker process serves the whole module; it must still be the same process at the end.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Service
from tests.films import RENDERED, write_film
from tests.unit.video.filming import Film, record_sound, shoot, shoot_nothing

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")

FAST = {"models": ["blazepose_full"]}
EIGHT_K = (7680, 4320)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a short sound film; nobody is in it, which is quickly found out."""
    return write_film(tmp_path_factory.mktemp("good") / "court.mp4", 15)


@pytest.fixture(autouse=True)
def worker_serves_the_next_clip(service: Service, good: Path) -> Iterator[None]:
    """After each test the same worker process completes a sound film."""
    before = service.rq_workers()
    yield
    assert service.analyse(good)["status"] == "completed", service.tail()
    assert len(service.rq_workers()) == 1
    assert not before or service.rq_workers() == before


def text_file(folder: Path) -> Path:
    path = folder / "notes.mp4"
    path.write_text("This is a list of things to buy, not a film.\n" * 50)
    return path


def fake_film(folder: Path) -> Path:
    path = folder / "fake.mp4"
    path.write_bytes(b"\0\0\0\x18ftypisom\0\0\2\0isomiso2" + bytes(range(256)) * 200)
    return path


def cut_short(folder: Path) -> Path:
    whole = write_film(folder / "whole.mp4", 60).read_bytes()
    path = folder / "cut.mp4"
    path.write_bytes(whole[: len(whole) // 2])  # its index was at the end
    return path


def without_frames(folder: Path) -> Path:
    return shoot_nothing(folder / "nothing.mp4")


def sound_only(folder: Path) -> Path:
    return record_sound(folder / "sound.mp4")


def eight_k(folder: Path) -> Path:
    options = {"preset": "ultrafast"}
    film = Film(ticks=(0, 3000), size=EIGHT_K, b_frames=0, options=options)
    return shoot(folder / "8k.mp4", film)


def two_hours(folder: Path) -> Path:
    ticks = tuple(range(0, 7201, 20))
    return shoot(folder / "long.mp4", Film(ticks=ticks, time_base=Fraction(1, 1)))


@pytest.mark.parametrize(
    ("make", "code", "says"),
    [
        (fake_film, {"not_a_video", "clip_damaged"}, "Send"),
        (cut_short, {"clip_damaged"}, "Send it again"),
        (without_frames, {"clip_without_frames"}, "Film again"),
        (sound_only, {"clip_without_picture"}, "Send the film"),
        (eight_k, {"clip_resolution_too_high"}, "Film at"),
        (two_hours, {"clip_too_long"}, "Trim"),
    ],
)
def test_unusable_file_fails_with_a_problem(
    service: Service, tmp_path: Path, make: object, code: set[str], says: str
) -> None:
    state = service.analyse(make(tmp_path))  # type: ignore[operator]
    assert state["status"] == "failed"
    assert state["problem"]["code"] in code
    assert says in state["problem"]["detail"]
    assert state["problem"]["stage"] in ("probe", "decode")
    assert state["attempt"] == 1
    page = service.client.get(state["problem"]["type"])
    assert page.status_code == 200


def test_what_is_not_a_film_is_refused_at_once(service: Service, tmp_path: Path) -> None:
    answer = service.send(text_file(tmp_path))
    assert answer.status_code in (415, 422)
    assert answer.json()["code"] == "not_a_video"


def test_wrong_digest_is_refused(service: Service, good: Path) -> None:
    answer = service.send(good, sha256="0" * 64)
    assert answer.status_code == 422
    assert answer.json()["code"] == "digest_mismatch"


def test_unknown_ids_are_not_found(service: Service) -> None:
    nothing = "0" * 32
    for path in (f"/v1/clips/clip_{nothing}", f"/v1/analyses/ana_{nothing}"):
        answer = service.client.get(path)
        assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
    asked = service.client.post("/v1/analyses", json={"clip_id": f"clip_{nothing}"})
    assert (asked.status_code, asked.json()["code"]) == (404, "not_found")


def test_film_sent_twice_is_kept_once(service: Service, tmp_path: Path) -> None:
    film = write_film(tmp_path / "twice.mp4", 12)
    first, second = service.send(film), service.send(film)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json()["id"] == second.json()["id"]


def test_unknown_network_is_a_typed_failure(service: Service, good: Path) -> None:
    digest = hashlib.sha256(good.read_bytes()).hexdigest()
    clip = service.send(good, sha256=digest).json()["id"]
    asked = service.client.post(
        "/v1/analyses", json={"clip_id": clip, "options": {"models": ["wonder_net"]}}
    )
    if asked.status_code == 422:
        assert asked.json()["code"] in ("invalid_request", "model_unknown")
        return
    assert service.wait(asked.json()["id"])["problem"]["code"] == "model_unknown"


def test_film_without_a_person_says_so(service: Service, good: Path) -> None:
    result = service.result(service.analyse(good))
    assert [p.code for p in result.problems if p.severity == "blocking"] == ["no_person"]
    assert result.repetitions == ()
    assert not result.usability.usable


def test_ten_bit_hevc_is_decoded(service: Service, tmp_path: Path) -> None:
    film = write_film(
        tmp_path / "ten.mp4",
        15,
        codec="libx265",
        pixel_format="yuv420p10le",
        options={"x265-params": "log-level=none", "preset": "ultrafast"},
    )
    result = service.result(service.analyse(film))
    assert (result.clip.codec, result.clip.pixel_format) == ("hevc", "yuv420p10le")
    assert result.clip.frames == 15


def test_portrait_film_is_turned_upright(service: Service, tmp_path: Path) -> None:
    film = shoot(tmp_path / "portrait.mp4", Film(size=(320, 192), rotation=90))
    result = service.result(service.analyse(film))
    assert (result.clip.width, result.clip.height) == (192, 320)
    assert result.clip.rotation_deg in (90, 270)


@pytest.mark.parametrize(
    ("name", "code", "serves"),
    [
        ("009.mp4", "no_serve_found", 0),  # somebody walks through the picture
        ("005.mp4", "feet_not_in_frame", None),
        ("006.mp4", "several_people", 1),
    ],
)
def test_film_that_shows_too_little_or_too_much_says_so(
    service: Service, name: str, code: str, serves: int | None
) -> None:
    result = service.result(service.analyse(RENDERED / name, **FAST))
    assert code in {problem.code for problem in result.problems}
    found = sum(repetition.kind == "serve" for repetition in result.repetitions)
    assert serves is None or found == serves


def test_partly_lost_film_is_analysed_as_far_as_it_goes(service: Service, tmp_path: Path) -> None:
    film = write_film(tmp_path / "stream.mkv", 90, options={"g": "10"})
    data = film.read_bytes()
    film.write_bytes(data[: len(data) * 2 // 3])
    result = service.result(service.analyse(film))
    assert 0 < result.clip.frames < 90
    assert "frames_lost" in {problem.code for problem in result.problems}
