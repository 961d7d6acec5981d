"""Two films of one serve are put together; films that are no pair are refused with what to do.

The films are drawn: a movement of a generator, two hand-held cameras of their own rates, clocks and
rolling shutters, landmarks with the errors of networks. Truth is exact.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from models.contract.note import Note
from models.contract.note_codes import NoteCode
from models.training.events.dense import Dense
from models.training.views.measure import marks
from models.training.views.pairs import Pair, draw_pair, mixed, movements, repeated
from workers.engine.camera import LevelCamera
from workers.engine.fit.skeleton import POINTS
from workers.engine.views.clocks import coarse_offsets
from workers.engine.views.pairing import ViewPair, about_player, heard_offset, pair_views
from workers.engine.views.relative import Adjusted
from workers.engine.views.rig import NAMES, Rig, bone_lengths, cross
from workers.engine.views.seen import SeenBody
from workers.learned import load


@cache
def serves() -> tuple[Dense, ...]:
    return tuple(movements("train", "bumps", 811, 2))


def views(pair: Pair) -> tuple[SeenBody, SeenBody]:
    landmarks = load().learned.landmarks
    one, two = (marks(film, pair.dense, landmarks) for film in (pair.one, pair.two))
    return one, two


@cache
def right_pair() -> tuple[Pair, SeenBody, SeenBody]:
    pair = draw_pair(serves()[0], np.random.default_rng(5))
    return pair, *views(pair)


def test_clocks_and_direction_of_a_right_pair_are_found_within_what_is_stated() -> None:
    pair, one, two = right_pair()
    found = pair_views(one, two)
    assert isinstance(found, ViewPair)
    assert abs(found.offset_s - pair.offset_s) < min(0.012, 3.0 * found.offset_sd_s)
    assert abs(found.apart_deg - pair.apart_deg) < min(9.0, 3.0 * found.apart_sd_deg)
    assert not found.heard


def test_the_order_of_the_films_turns_the_signs() -> None:
    _, one, two = right_pair()
    there, back = pair_views(one, two), pair_views(two, one)
    assert isinstance(there, ViewPair)
    assert isinstance(back, ViewPair)
    assert back.offset_s == pytest.approx(-there.offset_s, abs=0.004)
    assert back.apart_deg == pytest.approx(-there.apart_deg, abs=4.0)


def test_wrong_pairs_are_refused_with_what_to_do() -> None:
    one, two = serves()
    rng = np.random.default_rng(6)
    for pair, code in (
        (mixed(one, two, (60.0, 140.0), rng), NoteCode.VIEWS_NOT_SYNCHRONISED),
        (mixed(one, repeated(one, rng), (60.0, 140.0), rng), NoteCode.VIEWS_OF_TWO_SERVES),
        (mixed(one, one, (60.0, 65.0), rng), NoteCode.VIEWS_TOGETHER),
        (mixed(one, one, (60.0, 245.0), rng), NoteCode.VIEWS_OPPOSITE),
    ):
        found = pair_views(*views(pair))
        assert isinstance(found, Note)
        assert found.code == code
    assert "60 to 100 degrees" in found.text


def test_films_with_less_than_a_second_in_common_are_refused() -> None:
    pair, one, _ = right_pair()
    landmarks = load().learned.landmarks
    rows = slice(0, np.searchsorted(pair.two.track.time_s, pair.two.track.time_s[0] + 0.6))
    track = pair.two.track
    arrays = {
        name: value[rows]
        for name in track.__dataclass_fields__
        if isinstance(value := getattr(track, name), np.ndarray)
    }
    short = replace(track, **arrays, sources={k: v[rows] for k, v in track.sources.items()})
    found = pair_views(one, marks(replace(pair.two, track=short), pair.dense, landmarks))
    assert isinstance(found, Note)
    assert found.code == NoteCode.VIEWS_TOO_SHORT


def test_heights_alone_find_the_offset_to_about_a_frame() -> None:
    pair, one, two = right_pair()
    assert coarse_offsets(one, two)[0].offset_s == pytest.approx(pair.offset_s, abs=0.025)


def test_an_impact_that_both_heard_counts_and_a_sound_elsewhere_does_not() -> None:
    pair, one, two = right_pair()
    far = [v.focal_px * v.stature_m / v.tall_px / 343.0 for v in (one, two)]
    struck = np.array([1.5])
    near = replace(one, heard_s=struck + far[0])
    other = replace(two, heard_s=np.array([0.1, 1.5 + pair.offset_s + far[1]]))
    offset, sd, heard = heard_offset(near, other, pair.offset_s + 0.03)
    assert heard
    assert abs(offset - pair.offset_s) < 0.006
    assert sd < 0.02
    assert not heard_offset(near, replace(two, heard_s=np.array([9.0])), pair.offset_s)[2]


def test_rays_through_exact_marks_meet_in_the_points() -> None:
    # projected by the camera model of the fit, read back by the rig
    _, one, two = right_pair()
    values = np.zeros(len(NAMES))
    values[[0, 3, 4, 5, 7, 8, 9]] = 0.05, 1.2, -0.03, 0.02, 6.0, 4.0, 0.3
    rig = Rig(values)
    rng = np.random.default_rng(2)
    points = np.array([0.0, 7.0, 0.0]) + rng.normal(0.0, 0.4, (5, len(POINTS), 3))
    c, s = np.cos(1.2), np.sin(1.2)
    own = (points - rig.place) @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]).T
    seen = []
    for view, where, pitch, roll in ((one, points, 0.05, 0.0), (two, own, -0.03, 0.02)):
        pixels = LevelCamera(view.focal_px, (0.0, 0.0), pitch, roll).pixels(where)
        seen.append((pixels * [1.0, -1.0], np.ones(pixels.shape[:2])))
    crossed = cross(rig, one, two, seen[0], seen[1])
    np.testing.assert_allclose(crossed.points, points, atol=1e-9)
    np.testing.assert_allclose(crossed.miss, 0.0, atol=1e-6)
    np.testing.assert_allclose(bone_lengths(crossed.points), bone_lengths(points), atol=1e-9)


@pytest.mark.parametrize("heading", [0.9, 1.2])
def test_the_angle_is_about_the_player_however_the_second_phone_is_aimed(heading: float) -> None:
    """Plane geometry: from the player at (0, 7) the cameras stand at (0, 0) and (6, 4)."""
    _, one, two = right_pair()
    values = np.zeros(len(NAMES))
    values[[3, 7, 8]] = heading, 6.0, 4.0
    rig = Rig(values)
    points = np.array([0.0, 7.0, 0.0]) + np.random.default_rng(2).normal(0.0, 0.3, (len(POINTS), 3))
    points[:, :2] += [0.0, 7.0] - POINTS.middle(points, "hip")[:2]
    c, s = np.cos(heading), np.sin(heading)
    own = (points - rig.place) @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]).T
    times = np.arange(10) / 10.0
    seen = []
    for view, where in ((one, points), (two, own)):
        pixels = LevelCamera(view.focal_px, (0.0, 0.0), 0.0, 0.0).pixels(where) * [1.0, -1.0]
        still = np.repeat(pixels[None], len(times), axis=0)
        seen.append(replace(view, time_s=times, uv=still, curve=CubicSpline(times, still)))
    spread = np.zeros((len(NAMES), len(NAMES)))
    spread[3, 3], spread[7, 7] = 0.01**2, 0.1**2
    found = Adjusted(rig, 0.0, spread, values, np.zeros(1), 1.0)
    apart, sd = about_player(found, seen[0], seen[1])
    assert apart == pytest.approx(np.degrees(np.arctan2(3.0, -6.0)) - 90.0, abs=0.01)
    # the looks are the rays themselves: the heading turns one, where the camera stands does not
    assert sd == pytest.approx(np.degrees(0.01), rel=0.01)
