"""A drawn toss that leaves the picture, and what lies on its path before and after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.engine.test_ball import CONTACT, RELEASE, STATURE, ball, evidence, things
from workers.engine.ball import Things, Toss, find_toss
from workers.engine.contact_time import contact_time
from workers.engine.release_time import release_time
from workers.engine.struck import end_of_toss
from workers.engine.toss_return import followed, in_flight, with_return
from workers.engine.turning import Told

TOP = 0.72
"""Standing heights over the shoulders; the toss rises to 0.85."""


def under(seen: Things, top: float) -> Things:
    """The same in a picture that ends at a height."""
    kept = seen.xy[:, 1] < top
    return replace(
        seen,
        time_s=seen.time_s[kept],
        frame=seen.frame[kept],
        xy=seen.xy[kept],
        half=seen.half[kept],
        score=seen.score[kept],
    )


def whole(seen: Things) -> Toss:
    found = find_toss(
        seen, STATURE, completed=lambda toss: with_return(toss, seen, STATURE, CONTACT + 0.2)
    )
    assert found is not None
    return in_flight(found, seen, TOP)


@pytest.mark.parametrize("fps", [30.0, 60.0, 120.0, 240.0])
def test_a_toss_that_comes_back_into_the_picture_ends_at_contact(fps: float) -> None:
    seen = under(things(fps), TOP)
    toss = whole(seen)
    assert CONTACT - 3.0 / fps - 0.02 < toss.seen_s[-1] <= CONTACT + 1.0 / fps
    assert np.max(np.diff(toss.seen_s)) > 0.2  # it was gone
    told = replace(evidence(seen, toss), top=TOP)
    found = contact_time(CONTACT - 0.03, 1.0, 1.0 / fps, evidence=told)
    assert abs(found.time_s - CONTACT) <= 1.0 / fps
    assert "ball" in found.sources


@pytest.mark.parametrize("fps", [30.0, 60.0, 240.0])
def test_release_is_before_the_first_sighting_whatever_the_arm_says(fps: float) -> None:
    seen = things(fps)
    arm = Told(RELEASE - 0.1, 0.035, "hand")
    told = evidence(seen, whole(seen))
    found = release_time(told, arm)
    assert found is not None
    assert abs(found.time_s - RELEASE) <= max(2.0 / fps, 0.03)
    assert found.source == "ball"


def test_a_ball_first_seen_far_from_the_hand_leaves_the_release_to_the_arm() -> None:
    seen = things(60.0)
    arm = Told(RELEASE - 0.01, 0.035, "hand")
    assert release_time(replace(evidence(seen, whole(seen)), from_hand=0.8), arm) == arm
    assert release_time(replace(evidence(seen, whole(seen)), from_hand=0.8), None) is None


def test_what_lies_beside_the_path_after_contact_is_no_toss() -> None:
    seen = things(240.0, struck=False, clutter=0)
    rng = np.random.default_rng(3)
    late = np.arange(CONTACT + 0.02, CONTACT + 0.12, 1.0 / 240.0)
    flown = late - RELEASE
    on = np.stack(
        [0.2 + 0.05 * flown, 0.25 + 2.55 * flown - 0.5 * 9.80665 / STATURE * flown**2], -1
    )
    off = on + rng.uniform(-0.011, 0.011, on.shape)
    more = replace(
        seen,
        time_s=np.concatenate([seen.time_s, late]),
        frame=np.concatenate([seen.frame, np.arange(len(late)) + 10_000]),
        xy=np.concatenate([seen.xy, off]),
        half=np.zeros((len(seen.time_s) + len(late), 2)),
        score=np.full(len(seen.time_s) + len(late), 30.0),
        looked_s=np.union1d(seen.looked_s, late),
    )
    found = find_toss(more, STATURE)
    assert found is not None
    ended = in_flight(found, more, 2.0)
    assert ended.seen_s[-1] <= CONTACT + 0.03
    assert np.max(np.abs(ended.at(CONTACT - 0.1) - ball(CONTACT - 0.1))) < 0.01


def test_the_last_sightings_count_where_perspective_bends_the_toss_off_its_whole_path() -> None:
    seen = things(60.0, clutter=0, struck=False)
    toss = whole(seen)
    late = seen.time_s > CONTACT - 0.1
    assert late.sum() > 3
    bent = seen.xy.copy()
    # beside the path of the whole by more than the tolerance at its end
    bent[:, 0] += 1.5 * seen.tolerance * np.maximum(seen.time_s - (CONTACT - 0.4), 0.0) / 0.4
    short = replace(toss, seen_s=toss.seen_s[toss.seen_s < CONTACT - 0.08])
    longer = followed(short, replace(seen, xy=bent))
    assert len(longer.seen_s) > len(short.seen_s) + 2
    assert longer.seen_s[-1] > CONTACT - 0.04
    # what is nowhere near where the last part leads is not its own
    off = seen.xy + np.where(late, 3.0 * seen.tolerance, 0.0)[:, None]
    assert len(followed(short, replace(seen, xy=off)).seen_s) <= len(short.seen_s) + 1


def test_a_toss_that_left_the_picture_long_ago_says_nothing_of_contact() -> None:
    """Its path is not known so far on: that nothing is seen there must not tell a contact."""
    seen = things(30.0, clutter=0, struck=False)
    early = seen.time_s < RELEASE + 0.25
    less = replace(
        seen,
        **{n: getattr(seen, n)[early] for n in ("time_s", "frame", "xy", "half", "score")},
    )
    toss = whole(seen)
    short = replace(toss, seen_s=toss.seen_s[toss.seen_s < RELEASE + 0.25])
    grid = np.arange(CONTACT - 0.2, CONTACT + 0.2, 1.0 / 960.0)
    assert np.ptp(end_of_toss(short, less, grid, 2.0)) < 1e-9


def test_where_a_toss_leads_its_sightings_may_lie_half_a_tolerance_beside_it() -> None:
    seen = things(60.0, clutter=0, struck=False)
    toss = whole(seen)
    late = seen.time_s > CONTACT - 0.06
    xy = toss.at(seen.time_s)
    xy[late, 0] += 0.48 * seen.tolerance
    exact = replace(
        toss, noise=0.05 * seen.tolerance, seen_s=toss.seen_s[~late[: len(toss.seen_s)]]
    )
    grid = np.array([CONTACT - 0.07, CONTACT])
    before, after = end_of_toss(exact, replace(seen, xy=xy), grid, 2.0)
    assert after > before
