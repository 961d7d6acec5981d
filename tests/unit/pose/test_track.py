"""People over time, and the choice of the server, on hand-made finds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from workers.pose.finder import Person
from workers.pose.track import PATIENCE_S, Find, choose_server, link

WIDTH, HEIGHT = 1280, 720


def person(u: float, v: float = 400.0, height: float = 300.0, wrist_over_hips: float = 0) -> Person:
    """Upright, hips at (u, v), torso 0.3 body heights, both wrists so far above the hips."""
    keypoints = np.zeros((17, 3))
    keypoints[:, :2], keypoints[:, 2] = [u, v], 0.9
    keypoints[5:7, 1] = v - 0.3 * height
    keypoints[9:11, 1] = v - wrist_over_hips
    box = np.array([u - height / 6, v - height / 2, u + height / 6, v + height / 2])
    return Person(box=box, score=0.8, keypoints=keypoints)


def film(*people: Callable[[float], Person | None], seconds: float = 4.0) -> list[Find]:
    times = np.arange(0, seconds, 0.2)
    return [
        Find(float(t), round(t * 60), tuple(p for make in people if (p := make(float(t)))))
        for t in times
    ]


def server(t: float) -> Person:
    return person(500 + 10 * t, wrist_over_hips=120 * np.sin(2.5 * t))


def test_walker_and_server_keep_their_identities_when_finds_change_order() -> None:
    finds = film(server, lambda t: person(1000 - 60 * t, 390, 200))
    shuffled = [
        Find(f.time_s, f.index, f.people[::-1] if i % 2 else f.people) for i, f in enumerate(finds)
    ]
    tracks = link(shuffled)
    assert sorted(len(track.at) for track in tracks) == [20, 20]
    for track in tracks:
        assert len({round(p.height) for p in track.people}) == 1


def test_short_absence_is_bridged_long_absence_is_not() -> None:
    gone = film(lambda t: None if 1 < t < 2 else person(500))
    assert len(link(gone)) == 1
    long = film(lambda t: None if 1 < t < 1.3 + PATIENCE_S else person(500))
    assert len(link(long)) == 2


def test_moving_hands_beat_a_larger_bystander() -> None:
    finds = film(lambda t: person(640, 420, 330), server)
    choice = choose_server(finds, WIDTH, HEIGHT)
    assert choice is not None
    assert choice.people[0].box[0] == pytest.approx(server(0).box[0])
    assert choice.candidates[0].hand_range > 1.0 > choice.candidates[1].hand_range
    assert choice.clear
    assert "one of 2 people" in choice.reason


def test_passer_by_with_swinging_arms_is_not_the_server() -> None:
    finds = film(
        server, lambda t: person(100 + 500 * t, 300, 120, 80 * np.sin(9 * t)) if t < 1 else None
    )
    choice = choose_server(finds, WIDTH, HEIGHT)
    assert choice is not None
    assert len(choice.people) == 20


def test_two_equal_servers_are_not_clear() -> None:
    finds = film(server, lambda t: person(780, wrist_over_hips=120 * np.sin(2.5 * t)))
    choice = choose_server(finds, WIDTH, HEIGHT)
    assert choice is not None
    assert not choice.clear
    assert "barely" in choice.reason


def test_counts_are_held_between_surveys() -> None:
    finds = film(server, lambda t: person(1000) if t > 2 else None)
    choice = choose_server(finds, WIDTH, HEIGHT)
    assert choice is not None
    seen = choice.people_at(np.array([-1.0, 0.0, 1.99, 2.21, 2.39, 9.0]))
    assert seen.tolist() == [1, 1, 1, 2, 2, 2]


def test_nearest_find_in_time() -> None:
    choice = choose_server(film(server), WIDTH, HEIGHT)
    assert choice is not None
    near = choice.nearest(1.05, 0.1)
    assert near is not None
    assert near.box[0] == pytest.approx(server(1.0).box[0])
    assert choice.nearest(9.0, 0.3) is None


def test_a_known_bystander_is_never_picked_for_the_server() -> None:
    choice = choose_server(film(server, lambda t: person(1000)), WIDTH, HEIGHT)
    assert choice is not None
    back = person(560, 410)
    assert choice.pick([person(1000), back], 2.1) is back
    assert choice.pick([person(990)], 2.1) is None
    assert choice.pick([], 2.1) is None


def test_nobody_is_picked_long_after_the_server_left() -> None:
    choice = choose_server(film(server), WIDTH, HEIGHT)
    assert choice is not None
    assert choice.pick([person(560)], 4.0 + 2 * PATIENCE_S) is None


def test_nobody() -> None:
    assert choose_server(film(lambda t: None), WIDTH, HEIGHT) is None
    assert choose_server([], WIDTH, HEIGHT) is None
