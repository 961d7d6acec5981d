"""What is kept of a film besides joints, and that it survives a result's file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import cast

import numpy as np

from models.contract.sightings import Sightings
from models.contract.tracks import JointTrack
from tests.unit.pipeline.fakes import FakeFrame, track
from workers.pipeline.film import Film
from workers.pipeline.watched import Watched, about


class Moving:
    """Ten frames in which a bright spot moves; tells what it heard."""

    heard = ((0.05, 20.0),)

    def __call__(
        self, _stretches: Sequence[tuple[float, float]] | None = None
    ) -> Iterator[FakeFrame]:
        for index in range(10):
            rgb = np.zeros((120, 160, 3), np.uint8)
            rgb[40:44, 10 + 12 * index : 14 + 12 * index] = 255
            yield FakeFrame(index, index / 60.0, rgb)


def test_only_close_readings_are_watched() -> None:
    watched = Watched(cast("Film", Moving()))
    list(watched())
    assert len(watched.sightings().looked) == 0
    list(watched([(0.0, 1.0)]))
    seen = watched.sightings()
    assert seen.looked.tolist() == list(range(10))
    assert seen.sound
    assert seen.heard_s.tolist() == [0.05]
    assert set(seen.thing_frame.tolist()) == set(range(1, 9))


def test_things_far_from_the_person_are_not_kept() -> None:
    joints = track()
    low = replace(joints, xy=joints.xy + np.array([0.0, 1.0]) * np.arange(33)[None, :, None])
    seen = Sightings(
        thing_frame=np.array([0, 0]),
        thing_xy=np.array([[22.0, 30.0], [500.0, 30.0]]),
        thing_half=np.ones((2, 2)),
        thing_width=np.ones(2),
        thing_score=np.ones(2),
    )
    assert about(seen, low).thing_xy.tolist() == [[22.0, 30.0]]


def test_edges_of_the_person_are_not_kept() -> None:
    joints = track()
    low = replace(joints, xy=joints.xy + np.array([0.0, 1.0]) * np.arange(33)[None, :, None])
    box = low.xy[0].min(axis=0), low.xy[0].max(axis=0)
    own, other = np.stack(box), np.stack(box) + np.array([300.0, 0.0])
    seen = Sightings(edge_frame=np.array([0, 0]), edge_ends=np.stack([own, other]))
    kept = about(seen, low)
    assert kept.edge_frame.tolist() == [0]
    assert np.allclose(kept.edge_ends, other)


def test_a_track_keeps_its_sightings_in_a_file() -> None:
    watched = Watched(cast("Film", Moving()))
    list(watched())
    list(watched())
    kept = replace(track(), sightings=watched.sightings())
    again = JointTrack.from_npz(kept.to_npz()).sightings
    assert again is not None
    assert again.sound
    np.testing.assert_allclose(again.thing_xy, kept.sightings.thing_xy if kept.sightings else None)
    assert JointTrack.from_npz(track().to_npz()).sightings is None
