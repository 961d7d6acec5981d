"""What the engine can say of a clip at a first look: from a coarse track, without a fitted body."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.contract.analysis import ViewEstimate
from models.contract.clip import UsabilityCheck
from models.contract.errors import NoServeFound
from models.contract.note_codes import NoteCode, say
from models.contract.problem import Problem
from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness, Severity
from workers.engine import usability
from workers.engine.detect import find_work, handedness_of, what_was_seen
from workers.engine.interface import EngineRequest
from workers.engine.learned import Learned
from workers.engine.lift import lift_track
from workers.engine.signals import from_track
from workers.engine.view import estimate_view

AZIMUTH_SD = 8.0
"""Standard deviation of a camera azimuth that the learned lift reads off a coarse track, degrees:
root mean square error 7.6 on the rendered test films 000 to 007, and 4.6 on 010 to 016, which it
was not chosen on."""


@dataclass(frozen=True, slots=True)
class Glance:
    """The engine's part of the verdict.

    Attributes
    ----------
    checks : tuple of UsabilityCheck
        As in a full analysis, over the stretches; over the whole clip where there are none.
    problems : tuple of Problem
        Blocking ones only: nothing that may be work.
    """

    view: ViewEstimate
    checks: tuple[UsabilityCheck, ...]
    problems: tuple[Problem, ...] = ()


def glance(
    track: JointTrack,
    stretches: Sequence[tuple[float, float]],
    request: EngineRequest,
    learned: Learned,
) -> Glance:
    """Judge a clip before anything is measured.

    Parameters
    ----------
    track : JointTrack
        Coarse track of the whole clip: ten or more rows a second.
    stretches : sequence of (from, to)
        What may be work, seconds.
    """
    signals = from_track(track)
    windows = [_rows(track, stretch) for stretch in stretches]
    hand = request.handedness
    if hand is Handedness.UNKNOWN and signals is not None:
        hand = handedness_of(find_work(signals))
    view = estimate_view(
        _azimuths(track, windows, hand, learned), request.view, request.azimuth_deg
    )
    problems: tuple[Problem, ...] = ()
    if not stretches:
        error = NoServeFound(say(NoteCode.NO_SERVE_BUT, seen=what_was_seen(signals)))
        problems = (Problem.of(error, severity=Severity.BLOCKING),)
    return Glance(view, usability.checks(track, windows, view), problems)


def _rows(track: JointTrack, stretch: tuple[float, float]) -> tuple[int, int]:
    start, stop = stretch
    return (
        int(np.searchsorted(track.time_s, start)),
        int(np.searchsorted(track.time_s, stop, side="right")),
    )


def _azimuths(
    track: JointTrack, windows: list[tuple[int, int]], hand: Handedness, learned: Learned
) -> list[tuple[float, float]]:
    lifted = (lift_track(track, rows, hand, learned.lift) for rows in windows)
    return [
        (float((90.0 + np.degrees(one.heading)) % 360.0), AZIMUTH_SD)
        for one in lifted
        if one is not None
    ]
