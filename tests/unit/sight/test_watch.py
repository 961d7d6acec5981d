"""Small moving things and repeated pictures in drawn films whose content is known."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from models.contract.sightings import Sightings
from workers.sight.watch import Watcher

SIZE = (240, 320)
RADIUS = 4.0


def picture(xy: tuple[float, float] | None, seed: int, streak: float = 0.0) -> npt.NDArray[Any]:
    """A textured court with a bright ball, and a little noise of its own."""
    rng = np.random.default_rng(7)
    ground: npt.NDArray[Any] = rng.integers(60, 140, (*SIZE, 3)).astype(np.float64)
    ground = np.asarray(cv2.GaussianBlur(ground, (0, 0), 3))
    if xy is not None:
        mask = np.zeros(SIZE, np.uint8)
        y = round((xy[1] - 0.5) * 16)
        start, end = (round((xy[0] - 0.5 + side * streak) * 16) for side in (-1, 1))
        cv2.line(mask, (start, y), (end, y), 255, round(2 * RADIUS), cv2.LINE_AA, 4)
        share = mask[..., None] / 255.0
        ground = ground + share * (np.array([210.0, 230.0, 60.0]) - ground)
    noise = np.random.default_rng(seed).normal(0, 1.5, ground.shape)
    return np.asarray(np.clip(ground + noise, 0, 255), np.uint8)


def watch(
    places: list[tuple[float, float] | None], repeat: int = 1, streak: float = 0.0
) -> Sightings:
    watcher = Watcher()
    number = 0
    for i, place in enumerate(places):
        shown = picture(place, i, streak)
        for _ in range(repeat):
            watcher.show(number, number / 60.0, shown)
            number += 1
    return watcher.sightings()


def toss(count: int = 12) -> list[tuple[float, float] | None]:
    return [(60.0 + 14.0 * i, 180.0 - 24.0 * i + 1.6 * i * i) for i in range(count)]


def nearest(seen: Sightings, frame: int, xy: tuple[float, float]) -> float:
    places = seen.thing_xy[seen.thing_frame == frame]
    return float(np.min(np.hypot(*(places - np.array(xy)).T), initial=np.inf))


def test_a_ball_is_seen_where_it_is() -> None:
    places = toss()
    seen = watch(places)
    off = [nearest(seen, i, xy) for i, xy in enumerate(places) if xy and 0 < i < len(places) - 1]
    # the ends have one neighbour only
    assert max(off) < 0.7


def test_nothing_moves_and_nothing_is_seen() -> None:
    assert len(watch([None] * 10).thing_frame) == 0


@pytest.mark.parametrize("repeat", [2, 3])
def test_pictures_shown_again_change_nothing_and_hide_no_ball(repeat: int) -> None:
    places = toss()
    seen = watch(places, repeat)
    again = np.arange(len(seen.looked)) % repeat != 0
    assert np.all(seen.change[again] < 0.05 * np.nanmin(seen.change[~again][1:]))
    found = [nearest(seen, i * repeat, xy) for i, xy in enumerate(places) if xy and 0 < i < 11]
    # two changes make the usual one: the first pictures are not told from repeats
    assert np.median(found) < 0.7
    assert sum(off < 0.7 for off in found) >= len(found) - 2


def test_a_streak_has_its_ends() -> None:
    places: list[tuple[float, float] | None] = [(30.0 + 45.0 * i, 100.0) for i in range(6)]
    seen = watch(places, streak=14.0)
    rows = seen.thing_frame == 3
    best = np.flatnonzero(rows)[np.argmax(np.hypot(*seen.thing_half[rows].T))]
    half = np.abs(seen.thing_half[best])
    assert half[0] == pytest.approx(14.0 + RADIUS, abs=3.0)
    assert half[1] < 1.5
    assert seen.thing_width[best] == pytest.approx(2 * RADIUS, abs=2.5)


def test_a_gap_in_the_frames_is_no_movement() -> None:
    watcher = Watcher()
    for index in (0, 1, 2, 10, 11, 12):
        watcher.show(index, index / 60.0, picture((40.0 + 10 * index, 90.0), index))
    seen = watcher.sightings()
    assert np.isnan(seen.change[3])
    assert set(seen.thing_frame.tolist()) <= {1, 11}


def test_sightings_survive_a_file() -> None:
    seen = watch(toss())
    again = Sightings.of(seen.arrays())
    for name, array in seen.arrays().items():
        np.testing.assert_allclose(again.arrays()[name], array)
    with pytest.raises(ValueError, match="shape"):
        Sightings.of({**seen.arrays(), "thing_xy": np.zeros((1, 2))})
