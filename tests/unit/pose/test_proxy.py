"""Kept pictures: few, small, in the film's own coordinates by one factor."""

from __future__ import annotations

import numpy as np

from tests.unit.pose.conftest import Still
from workers.pose.proxy import EVERY_S, LONG_SIDE, Proxy


def film(frames: int, width: int, height: int) -> list[Still]:
    """A bright square whose left edge is at a quarter of the width."""
    picture = np.zeros((height, width, 3), np.uint8)
    picture[height // 4 : height // 2, width // 4 : width // 2] = (200, 120, 40)
    return [Still(i, i / 60, picture) for i in range(frames)]


def test_few_pictures_of_a_large_film_are_kept_small() -> None:
    proxy = Proxy()
    for frame in film(60, 1920, 1080):
        proxy.offer(frame)
    kept = list(proxy)
    assert len(kept) == len(proxy) == 12
    assert [k.time_s for k in kept] == [k.index / 60 for k in kept]
    assert min(np.diff([k.time_s for k in kept])) >= EVERY_S - 1e-9
    assert kept[0].rgb.shape == (360, 640, 3)
    assert proxy.scale == 1920 / LONG_SIDE
    edge = int(np.flatnonzero(kept[0].rgb[120, :, 0] > 100)[0])
    assert abs(edge * proxy.scale - 480) <= 2 * proxy.scale
    np.testing.assert_allclose(kept[0].rgb[120, 250], (200, 120, 40), atol=6)  # RGB, not BGR


def test_a_small_film_keeps_its_size() -> None:
    proxy = Proxy()
    for frame in film(3, 320, 240):
        proxy.offer(frame)
    assert len(proxy) == 1
    assert proxy.scale == 1.0
    assert next(iter(proxy)).rgb.shape == (240, 320, 3)
