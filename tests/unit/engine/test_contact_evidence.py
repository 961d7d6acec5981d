"""What a struck ball leaves open of its contact: intervals that hold, also seen from behind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.engine.test_ball import CONTACT, FALL, RELEASE, STATURE, UP, evidence, things
from workers.engine.ball import Things, find_toss
from workers.engine.contact_time import contact_time
from workers.engine.struck import BLURRED, end_of_toss, way_out

AWAY_M_S, DISTANCE_M = 45.0, 9.0
"""A fast serve and a camera behind the server (ITF: the court is 23.77 m long; working values)."""


def behind(fps: float, seed: int, late_s: float = 0.0) -> Things:
    """Sightings from behind: the struck ball shrinks towards a point and hardly moves aside.

    ``late_s``: the ball's streaks are seen so long after the middle of their frames.
    """
    chance = np.random.default_rng(seed)
    looked = np.arange(0.2 + chance.uniform(0, 1 / fps), 1.9, 1 / fps)
    rows, xy = [], []
    for row, t in enumerate(looked):
        at = t - late_s
        flown = min(at, CONTACT) - RELEASE
        place = np.array([0.2 + 0.05 * flown, 0.25 + UP * flown - 0.5 * FALL * flown**2])
        if at > CONTACT:
            far = DISTANCE_M + AWAY_M_S * (at - CONTACT)
            aim = np.array([-0.1, -0.25])
            place = aim + (place - aim + [0.4 * (at - CONTACT) * 20.0, 0.0]) * DISTANCE_M / far
        if RELEASE + 0.02 < at < CONTACT + 0.1 and chance.random() < 0.9:
            rows.append(row)
            xy.append(place + chance.normal(0, 0.002, 2))
        for _ in range(6):
            rows.append(row)
            xy.append(chance.normal([0.0, -0.1], [0.3, 0.4]))
    return Things(
        time_s=looked[rows],
        frame=np.array(rows),
        xy=np.array(xy),
        half=np.zeros((len(rows), 2)),
        score=chance.uniform(20.0, 60.0, len(rows)),
        looked_s=looked,
        px=400.0,
    )


@pytest.mark.parametrize("fps", [30.0, 60.0, 120.0])
def test_from_behind_the_interval_holds(fps: float) -> None:
    held, off = [], []
    for seed in range(6):
        seen = behind(fps, seed, late_s=0.1 / fps)
        toss = find_toss(seen, STATURE)
        assert toss is not None
        wrist = CONTACT - 0.02 + 0.03 * np.random.default_rng(seed).standard_normal()
        found = contact_time(wrist, 1.0, 1.0 / fps, evidence=evidence(seen, toss))
        held.append(abs(found.time_s - CONTACT) <= 1.96 * found.sd_s)
        off.append(abs(found.time_s - CONTACT))
        assert found.sd_s >= 1.0 / fps / np.sqrt(12.0) - 1e-12
    assert sum(held) >= 5
    assert np.median(off) <= 1.0 / fps


def test_a_way_out_is_no_surer_than_its_streaks() -> None:
    for fps in (30.0, 120.0):
        seen = things(fps)
        toss = find_toss(seen, STATURE)
        assert toss is not None
        grid = np.arange(CONTACT - 0.1, CONTACT + 0.1, 1.0 / 960.0)
        out = way_out(toss, seen, grid)
        assert out is not None
        share = np.exp(out.likely - out.likely.max())
        share /= share.sum()
        middle = np.sum(share * grid)
        sd = float(np.sqrt(np.sum(share * (grid - middle) ** 2)))
        # what lies before the last sighting of the toss or after the first of the way out is cut
        assert sd > 0.5 * BLURRED / fps


def test_a_toss_that_was_out_of_the_picture_ends_where_it_was_last_seen() -> None:
    fps = 120.0
    seen = things(fps, clutter=0)
    toss = find_toss(seen, STATURE)
    assert toss is not None
    # away for half of its flight, as where it rose over the upper edge
    gone = (seen.time_s > 0.75) & (seen.time_s < 1.25)
    less = replace(
        seen,
        **{name: getattr(seen, name)[~gone] for name in ("time_s", "frame", "xy", "half", "score")},
    )
    short = replace(toss, seen_s=toss.seen_s[(toss.seen_s < 0.75) | (toss.seen_s > 1.25)])
    grid = np.arange(CONTACT - 0.15, CONTACT + 0.15, 1.0 / 960.0)
    log = end_of_toss(short, less, grid, 2.0)
    share = np.exp(log - log.max())
    share /= share.sum()
    middle = float(np.sum(share * grid))
    assert middle == pytest.approx(CONTACT, abs=1.5 / fps)
    assert float(np.sqrt(np.sum(share * (grid - middle) ** 2))) < 1.5 / fps


def test_the_time_is_where_most_is_likely_and_what_is_elsewhere_widens_it() -> None:
    """Wrist and lift disagree by 0.12 s; a sound sides with one."""
    seen = things(60.0, tossed=False)
    told = evidence(seen, None, (CONTACT + 8.0 / 343.0,))
    found = contact_time(CONTACT - 0.02, 1.0, 1 / 60, CONTACT - 0.14, told)
    agreed = contact_time(CONTACT - 0.02, 1.0, 1 / 60, CONTACT, told)
    assert found.time_s == pytest.approx(CONTACT, abs=1 / 60)
    assert found.sd_s > 1.2 * agreed.sd_s
