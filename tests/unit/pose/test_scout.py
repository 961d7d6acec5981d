"""The first reading: few looks at somebody alone, told early, nothing lost among several people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from models.contract.skeleton import LANDMARKS
from models.contract.tracks import JointTrack
from tests.unit.pose.conftest import Still
from workers.pose.choice import Networks
from workers.pose.rows import Row
from workers.pose.scout import ALONE_S, SLOW_S, TELL_S, hands_low
from workers.pose.survey import MOST_FINDS, survey
from workers.pose.track import choose_server


class Counted:
    """A network that counts how often it is asked."""

    def __init__(self, networks: Networks) -> None:
        self.finds = self.looks = 0

        def finder(image: np.ndarray) -> Mapping[str, np.ndarray]:
            self.finds += 1
            return networks.finder(image)

        def coarse(image: np.ndarray) -> Mapping[str, np.ndarray]:
            assert networks.coarse is not None
            self.looks += 1
            return networks.coarse(image)

        self.networks = replace(networks, finder=finder, coarse=coarse)


def standing(film: list[Still], seconds: float) -> list[Still]:
    """The film's first picture, held, at 25 pictures a second."""
    return [Still(i, i / 25, film[0].rgb) for i in range(int(25 * seconds))]


def row(wrist: float) -> Row:
    """Shoulders at 100, hips at 200 pixels, both wrists at a height; y is down."""
    blaze = np.full((len(LANDMARKS), 3), 150.0)
    blaze[LANDMARKS.pair("shoulder"), 1] = 100.0
    blaze[LANDMARKS.pair("hip"), 1] = 200.0
    blaze[LANDMARKS.pair("wrist"), 1] = wrist
    return Row(0.0, 0, blaze, blaze, blaze, 1.0)


def test_hands_are_low_well_under_the_shoulders() -> None:
    assert hands_low(row(190.0))
    assert not hands_low(row(130.0))
    assert not hands_low(row(40.0))
    lost = row(np.nan)
    assert not hands_low(lost)


def test_somebody_alone_is_searched_for_once_a_second(
    contact_film: list[Still], networks: Networks
) -> None:
    counted = Counted(networks)
    seen = survey(lambda _=None, /: contact_film, counted.networks)
    length = contact_film[-1].time_s - contact_film[0].time_s
    assert counted.finds <= length / ALONE_S + 2
    assert seen.rows is not None
    times = np.array([one.time_s for one in seen.rows])
    assert np.diff(times).max() <= SLOW_S + 0.08 + 1 / 30 + 1e-6
    # A serve with a hand up is looked at whenever a picture was kept.
    raised = [not hands_low(one) for one in seen.rows]
    kept = {small.time_s for small in seen.proxy}
    for here, up in zip(times[:-1], raised[:-1], strict=True):
        after = min(time for time in kept if time > here)
        assert not up or after in times


def test_what_was_seen_so_far_is_told_until_it_is_enough(
    contact_film: list[Still], networks: Networks
) -> None:
    told: list[float] = []

    def so_far(track: JointTrack) -> bool:
        told.append(float(track.time_s[-1]))
        return len(told) == 2

    survey(lambda _=None, /: standing(contact_film, 10.0), networks, so_far)
    np.testing.assert_allclose(told, [TELL_S, 2 * TELL_S], atol=0.2)


def test_among_several_people_the_server_is_chosen_when_the_film_is_known(
    contact_film: list[Still], networks: Networks
) -> None:
    """Two copies side by side: the finder looks often, evenly, and rows are not kept."""
    both = [replace(f, rgb=np.hstack([f.rgb, f.rgb])) for f in contact_film]
    seen = survey(lambda _=None, /: both, networks)
    assert seen.rows is None
    assert 4 <= len(seen.finds) <= MOST_FINDS + 1
    assert {len(find.people) for find in seen.finds} == {2}
    server = choose_server(seen.finds, seen.width, seen.height)
    assert server is not None
    coarse = seen.coarse_track(server, networks)
    assert coarse is not None
    hips = coarse.xy[:, LANDMARKS.pair("hip"), 0].mean(axis=1)
    wide = seen.width / 2
    expected = float(np.mean([person.hips[:, 0].mean() for person in server.people]))
    assert np.all((hips < wide) == (expected < wide))
