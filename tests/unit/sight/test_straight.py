"""Straight edges: a drawn line is found where it is, by its edges."""

from __future__ import annotations

import cv2
import numpy as np

from workers.sight.straight import straight_edges
from workers.sight.watch import Watcher


def court() -> np.ndarray:
    """A dark picture with one white line, eight pixels wide, from (50, 300) to (600, 200)."""
    picture = np.full((400, 640), 60, np.uint8)
    cv2.line(picture, (50, 300), (600, 200), 230, 8, cv2.LINE_AA)
    noise = np.random.default_rng(2).normal(0.0, 4.0, picture.shape)
    return np.asarray(np.clip(picture + noise, 0, 255), np.uint8)


def test_both_edges_of_a_line_are_found() -> None:
    ends = straight_edges(court(), 1.0)
    way = np.array([550.0, -100.0]) / np.hypot(550.0, 100.0)
    across = np.array([-way[1], way[0]])
    off = (ends - np.array([50.5, 300.5])) @ across
    near = np.abs(off).max(axis=1) < 8.0
    assert near.sum() >= 2
    assert {int(np.sign(o)) for o in off[near].mean(axis=1)} == {-1, 1}
    assert np.linalg.norm(ends[near][:, 1] - ends[near][:, 0], axis=1).max() > 300.0


def test_ends_are_in_pixels_of_the_film() -> None:
    one, two = straight_edges(court(), 1.0), straight_edges(court(), 0.5)
    assert np.allclose(two, 2.0 * one)


def test_a_plain_picture_has_none() -> None:
    assert straight_edges(np.full((200, 300), 90, np.uint8), 1.0).shape == (0, 2, 2)


def test_edges_are_looked_for_now_and_then() -> None:
    watcher = Watcher()
    rgb = np.repeat(court()[..., None], 3, axis=2)
    for index in range(200):
        watcher.show(index, index / 60.0, rgb)
    seen = watcher.sightings()
    assert sorted(set(seen.edge_frame.tolist())) == [0, 90, 180]
    assert seen.edge_ends.shape == (len(seen.edge_frame), 2, 2)
