"""Closely seen rows win; coarse ones fill what nobody looked at closely."""

from __future__ import annotations

import numpy as np

from models.training.rendered.bodies import part_of_track, simulated_track
from workers.pose.join import joined


def test_rows_outside_the_stretches_are_added_in_order() -> None:
    whole = simulated_track("000")
    fine = part_of_track(whole, slice(60, 120))
    coarse = part_of_track(whole, slice(0, None, 5))
    stretches = [(float(fine.time_s[0]), float(fine.time_s[-1]))]
    track = joined(fine, coarse, stretches)
    assert (np.diff(track.time_s) > 0).all()
    inside = (track.frame_index >= 60) & (track.frame_index < 120)
    np.testing.assert_array_equal(track.frame_index[inside], fine.frame_index)
    np.testing.assert_array_equal(track.xy[inside], fine.xy)
    assert (track.frame_index[~inside] % 5 == 0).all()
    assert track.frame_index[[0, -1]].tolist() == coarse.frame_index[[0, -1]].tolist()


def test_networks_of_the_close_look_saw_nothing_elsewhere() -> None:
    whole = simulated_track("000")
    seen = np.ones((60, 33, 3))
    fine = part_of_track(whole, slice(60, 120))
    object.__setattr__(fine, "sources", {"blazepose_heavy": seen})
    track = joined(fine, part_of_track(whole, slice(0, None, 5)), [(1.0, 2.0)])
    known = np.isfinite(track.sources["blazepose_heavy"]).all(axis=(1, 2))
    assert known.sum() == 60
    np.testing.assert_array_equal(known, np.isin(track.frame_index, fine.frame_index))
