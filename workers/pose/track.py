"""Joins finds to people over time and chooses the server among them.

The survey looks at a few frames a second. Finds are joined to the person whose last
find lies nearest, by optimal assignment. The server is the person who is there, large,
near the middle, and whose hands move the most over the body: a serve carries the wrists
from below the hips to far above the head, walking or waiting does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from workers.pose.finder import Person
from workers.pose.frames import FloatArray

REACH = 0.6
"""A find continues a person if it lies within so many body heights of the last find ..."""

PATIENCE_S = 2.0
"""... and that was not longer ago than this."""

CLEAR_LEAD = 1.5
"""The choice is called clear if the best value is so many times the second."""

_LEFT_WRIST, _RIGHT_WRIST = 9, 10
"""Places among the 17 COCO keypoints."""
_WRIST_SURE = 0.2
"""Least score of a wrist that counts (working value)."""


@dataclass(frozen=True, slots=True)
class Find:
    """The people seen in one surveyed frame."""

    time_s: float
    index: int
    people: tuple[Person, ...]


@dataclass(frozen=True, slots=True)
class PersonTrack:
    """One person over the survey: positions in the survey and the finds there."""

    at: tuple[int, ...]
    people: tuple[Person, ...]


@dataclass(frozen=True, slots=True)
class Candidate:
    """Why a person may be the server; every figure 0..1 except `hand_range`.

    Attributes
    ----------
    presence : float
        Share of the surveyed frames with this person.
    size : float
        Median height in heights of the picture.
    centrality : float
        1 in the middle of the picture, 0 at its left or right edge.
    hand_range : float
        How far a wrist travels over the body, vertically, in torso lengths (5th to 95th
        percentile of its height over the hips; the larger of both wrists).
    value : float
        What is compared.
    """

    presence: float
    size: float
    centrality: float
    hand_range: float
    value: float


@dataclass(frozen=True, slots=True)
class ServerChoice:
    """The person to follow.

    Attributes
    ----------
    times : ndarray, shape (S,)
        Seconds of the surveyed frames that show the server.
    people : tuple of Person
        The server's finds there.
    candidates : tuple of Candidate
        Everyone, the server first.
    clear : bool
        False if another person came close: the pictures should be checked.
    survey_times : ndarray, shape (N,)
        Seconds of all surveyed frames.
    counts : ndarray of int, shape (N,)
        People seen in each.
    others : tuple of (ndarray, tuple of Person)
        Times and finds of everyone else.
    """

    times: FloatArray
    people: tuple[Person, ...]
    candidates: tuple[Candidate, ...]
    clear: bool
    survey_times: FloatArray
    counts: np.ndarray
    others: tuple[tuple[FloatArray, tuple[Person, ...]], ...] = ()

    @property
    def reason(self) -> str:
        """The choice in words."""
        best = self.candidates[0]
        said = (
            f"seen in {best.presence:.0%} of the surveyed frames, {best.size:.0%} of the picture "
            f"high, hands travel {best.hand_range:.1f} torso lengths"
        )
        if len(self.candidates) == 1:
            return f"the only person: {said}"
        return f"one of {len(self.candidates)} people, {'clearly' if self.clear else 'barely'} " + (
            f"ahead: {said}; the next one: "
            f"{self.candidates[1].presence:.0%}, {self.candidates[1].size:.0%}, "
            f"{self.candidates[1].hand_range:.1f}"
        )

    def scaled(self, factor: float) -> ServerChoice:
        """The same in pixels of pictures `factor` times as large."""
        return replace(
            self,
            people=tuple(person.scaled(factor) for person in self.people),
            others=tuple(
                (times, tuple(person.scaled(factor) for person in seen))
                for times, seen in self.others
            ),
        )

    def nearest(self, time_s: float, within_s: float) -> Person | None:
        """The server's find nearest in time, if there is one within `within_s`."""
        return _nearest(self.times, self.people, time_s, within_s)

    def pick(self, people: Sequence[Person], time_s: float) -> Person | None:
        """Who of some people is the server, or None if none of them is.

        The one nearest to the server's last known place, unless somebody else of the survey
        stands nearer, or the server was not seen for `PATIENCE_S` around that time.
        """
        expected = self.nearest(time_s, PATIENCE_S)
        if expected is None or not people:
            return None
        best = min(people, key=lambda person: distance(expected, person))
        others = (_nearest(times, seen, time_s, PATIENCE_S) for times, seen in self.others)
        gap = distance(expected, best)
        if any(other is not None and distance(other, best) < gap for other in others):
            return None
        return best

    def people_at(self, time_s: FloatArray) -> np.ndarray:
        """How many people the last survey before each instant saw, shape (T,) int."""
        last = np.searchsorted(self.survey_times, time_s, side="right") - 1
        return self.counts[np.clip(last, 0, None)]


def _nearest(
    times: FloatArray, people: Sequence[Person], time_s: float, within_s: float
) -> Person | None:
    if not times.size:
        return None
    i = int(np.abs(times - time_s).argmin())
    return people[i] if abs(float(times[i]) - time_s) <= within_s else None


def link(finds: Sequence[Find]) -> list[PersonTrack]:
    """Join finds to people.

    Each surveyed frame is assigned to the open tracks at once, by the least sum of
    distances between box centres in body heights.
    """
    open_: list[tuple[list[int], list[Person]]] = []
    for i, find in enumerate(finds):
        cost = np.full((len(open_), len(find.people)), np.inf)
        for a, (at, people) in enumerate(open_):
            if find.time_s - finds[at[-1]].time_s > PATIENCE_S:
                continue
            for b, person in enumerate(find.people):
                cost[a, b] = distance(people[-1], person)
        cost[cost > REACH] = np.inf
        taken: set[int] = set()
        # linear_sum_assignment refuses rows without any finite entry: price them out.
        rows, columns = linear_sum_assignment(np.where(np.isfinite(cost), cost, 1e6))
        for a, b in zip(rows.tolist(), columns.tolist(), strict=True):
            if np.isfinite(cost[a, b]):
                open_[a][0].append(i)
                open_[a][1].append(find.people[b])
                taken.add(b)
        open_ += [([i], [p]) for b, p in enumerate(find.people) if b not in taken]
    return [PersonTrack(tuple(at), tuple(people)) for at, people in open_]


def distance(a: Person, b: Person) -> float:
    """How far apart two finds are: box centres in body heights, plus a share for the size."""
    gap = (a.box[:2] + a.box[2:]) / 2 - (b.box[:2] + b.box[2:]) / 2
    shape = abs(float(np.log(max(a.height, 1.0) / max(b.height, 1.0))))
    return float(np.hypot(*gap)) / max(a.height, b.height, 1.0) + 0.25 * shape


def judge(track: PersonTrack, surveyed: int, width: int, height: int) -> Candidate:
    """The figures of one person and their product."""
    presence = len(track.at) / surveyed
    size = float(np.median([p.height for p in track.people])) / height
    middle = float(np.median([(p.box[0] + p.box[2]) / 2 for p in track.people]))
    centrality = max(0.0, 1.0 - abs(middle - width / 2) / (width / 2))
    reach = _hand_range(track)
    # Hands decide; presence and size break ties and keep out passers-by far away. The
    # middle counts least: the thrower films the server, not always in the middle.
    value = presence * min(size, 1.0) * (0.5 + 0.5 * centrality) * (0.25 + min(reach, 4.0))
    return Candidate(presence, size, centrality, reach, value)


def _hand_range(track: PersonTrack) -> float:
    torso = np.median([np.hypot(*(p.shoulders.mean(0) - p.hips.mean(0))) for p in track.people])
    best = 0.0
    for wrist in (_LEFT_WRIST, _RIGHT_WRIST):
        over = [
            float(p.hips[:, 1].mean() - p.keypoints[wrist, 1])
            for p in track.people
            if p.keypoints[wrist, 2] >= _WRIST_SURE
        ]
        if len(over) >= 3 and torso > 0:
            best = max(best, float(np.percentile(over, 95) - np.percentile(over, 5)) / float(torso))
    return best


def choose_server(finds: Sequence[Find], width: int, height: int) -> ServerChoice | None:
    """The person to follow, or None if nobody was seen.

    Parameters
    ----------
    finds : sequence of Find
        In order of time.
    width, height : int
        Size of the picture, pixels.
    """
    tracks = link(finds)
    if not tracks:
        return None
    judged = sorted(
        ((judge(track, len(finds), width, height), track) for track in tracks),
        key=lambda pair: pair[0].value,
        reverse=True,
    )
    candidates = tuple(candidate for candidate, _ in judged)
    server = judged[0][1]
    rival = candidates[1].value if len(candidates) > 1 else 0.0
    return ServerChoice(
        times=np.array([finds[i].time_s for i in server.at]),
        people=server.people,
        candidates=candidates,
        clear=candidates[0].value >= CLEAR_LEAD * rival,
        survey_times=np.array([find.time_s for find in finds]),
        counts=np.array([len(find.people) for find in finds], dtype=np.int64),
        others=tuple(
            (np.array([finds[i].time_s for i in track.at]), track.people) for _, track in judged[1:]
        ),
    )
