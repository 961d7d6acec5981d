"""The verdict of the first look: told once, as soon as it is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

from models.contract.analysis import ViewEstimate
from models.contract.clip import Usability, UsabilityCheck
from models.contract.costs import Step
from models.contract.errors import NoPerson
from models.contract.first_look import FirstLook, LikelyWork
from models.contract.problem import Problem
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Severity, Stage, View
from workers.engine.first_look import Glance
from workers.engine.interface import EngineRequest
from workers.pipeline.film import Film
from workers.pipeline.time_left import TimeLeft
from workers.video.usability import FrameQuality, usability_checks

Stretches = Sequence[tuple[float, float]]
"""From and to, seconds."""

ENOUGH_S = 10.0
"""After so much of a film the verdict is told though nothing was found yet, seconds: what two cores
read, find and follow in less than five seconds of film of 1080 lines and 60 pictures a second."""


class Looked(Protocol):
    """Receives what the first reading of a film saw."""

    def __call__(self, coarse: JointTrack, stretches: Stretches, /) -> None:
        """Take the coarse track of the whole film, and what of it gets a close look."""

    def so_far(self, coarse: JointTrack, stretches: Stretches, /) -> bool:
        """Take the same of the film's beginning; True = that was enough."""


def untold(_verdict: FirstLook) -> None:
    """Tell nobody."""


class Looker:
    """Makes the verdict of one film.

    Parameters
    ----------
    film : Film
    qualities : sequence of FrameQuality
        Filled while the film is read.
    tell : callable
        Receives the verdict.
    left : TimeLeft
        Learns what the close look will be spent on.
    """

    def __init__(
        self,
        film: Film,
        qualities: Sequence[FrameQuality],
        request: EngineRequest,
        glance: Callable[[JointTrack, Stretches, EngineRequest], Glance],
        tell: Callable[[FirstLook], None],
        left: TimeLeft,
        sha256: str | None,
    ) -> None:
        self._film = film
        self._qualities = qualities
        self._request = request
        self._glance = glance
        self._tell = tell
        self._left = left
        self._sha256 = sha256
        self._told = False

    def so_far(self, coarse: JointTrack, stretches: Stretches, /) -> bool:
        """Tell what the film's beginning shows, once it holds likely work or is long enough."""
        seen_s = float(coarse.time_s[-1])
        whole = tuple((start, stop) for start, stop in stretches if stop <= seen_s)
        if not whole and seen_s < ENOUGH_S:
            return False
        begun = tuple((start, min(stop, seen_s)) for start, stop in stretches)
        # That nothing was found so far says nothing of the rest.
        seen = replace(self._glance(coarse, begun, self._request), problems=())
        self._say(seen, begun, seen_s)
        return True

    def __call__(self, coarse: JointTrack, stretches: Stretches, /) -> None:
        """Tell what the coarse track shows; the close look begins."""
        rate = self._film.facts.frame_rate
        self._left.found(sum(stop - start for start, stop in stretches) * rate, len(stretches))
        self._left.begin(Step.CLOSE_LOOK)
        if not self._told:
            self._say(self._glance(coarse, stretches, self._request), stretches)

    def close(self, track: JointTrack | None) -> None:
        """Tell at least now, where no first look was possible; None = nobody was seen."""
        if self._told:
            return
        if track is None:
            unknown = ViewEstimate(label=View.UNKNOWN, source="unknown")
            nobody = Problem.of(NoPerson(), stage=Stage.POSE.value)
            self._left.found(0.0, 0)
            self._say(Glance(unknown, (), (nobody,)), ())
        else:
            whole = ((float(track.time_s[0]), float(track.time_s[-1])),)
            self._left.found(float(len(track)), 1)
            self._say(self._glance(track, whole, self._request), whole)

    def _say(self, seen: Glance, stretches: Stretches, seen_s: float | None = None) -> None:
        self._told = True
        facts = self._film.facts_so_far.model_copy(update={"sha256": self._sha256})
        checks = (*seen.checks, *usability_checks(facts, self._qualities))
        problems = (
            *seen.problems,
            *(Problem.of(one, severity=Severity.WARNING) for one in self._film.problems),
        )
        self._tell(
            FirstLook(
                clip=facts,
                view=seen.view,
                usability=verdict(checks, problems),
                likely_work=tuple(
                    LikelyWork(start_s=round(max(0.0, start), 3), end_s=round(stop, 3))
                    for start, stop in stretches
                ),
                seen_s=None if seen_s is None else round(seen_s, 3),
                problems=problems,
            )
        )


def verdict(checks: Sequence[UsabilityCheck], problems: Sequence[Problem]) -> Usability:
    """Return the checks, one of each key, and whether anything of them forbids to measure.

    Engine and decoder both look at the frame rate: what stands last, the container's, counts.
    """
    once = tuple({check.key: check for check in checks}.values())
    usable = not any(problem.severity is Severity.BLOCKING for problem in problems) and all(
        check.passed or check.severity is not Severity.BLOCKING for check in once
    )
    return Usability(usable=usable, checks=once)
