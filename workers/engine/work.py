"""Which work of a clip is measured, once a ball was looked for."""

from __future__ import annotations

from dataclasses import replace

from models.contract.tracks import JointTrack
from models.contract.vocabulary import Handedness, RepetitionKind
from workers.engine.detect import FoundWork, find_work, told_unasked
from workers.engine.evidence import Evidence, evidence_of
from workers.engine.interface import EngineRequest
from workers.engine.kind_of_swing import BALL_ROOM, LONGEST_STEP_S, kind_by, with_ball
from workers.engine.signals import Signals

TOSSED_BEFORE_S = 0.3
"""A ball that is tossed flies for longer before it is met, seconds (working value: 0.5 and more in
rendered serves; in a real groundstroke a ball on its way out was taken for one)."""
TOSSED_FROM = 0.35
"""A tossed ball is first seen within this of the hand, standing heights (working value: 0.05 to
0.13 in rendered serves, 0.6 in that groundstroke)."""


def measured_work(
    signals: Signals | None, request: EngineRequest, track: JointTrack | None = None
) -> list[FoundWork]:
    """Return the work that is measured, in order of time.

    Without a drill that was asked for, an overhead swing with no raised tossing hand counts where
    the ``track`` shows that it met a tossed ball: behind the head, and seen from behind, networks
    lose the raised arm.
    """
    if signals is None:
        return []
    found = find_work(signals, request.handedness, request.drill)
    if request.drill is not None:
        return found
    if track is not None:
        found = [_served(one, track, request.seed) for one in found]
    return told_unasked(found)


def _served(candidate: FoundWork, track: JointTrack, seed: int) -> FoundWork:
    """Return a throw that met a tossed ball as the serve it is."""
    if candidate.kind is not RepetitionKind.THROW:
        return candidate
    left = candidate.hitting is Handedness.LEFT
    window = (candidate.start, candidate.stop)
    evidence = evidence_of(track, window, None, left_handed=left, seed=seed)
    if evidence is None or evidence.toss is None or evidence.from_hand > TOSSED_FROM:
        return candidate
    flown = candidate.contact_s - float(evidence.toss.seen_s[0])
    return replace(candidate, kind=RepetitionKind.SERVE) if flown > TOSSED_BEFORE_S else candidate


def judged_by_ball(candidate: FoundWork, evidence: Evidence | None) -> FoundWork:
    """Return the work with its kind judged anew by whether a ball was tossed, where one would have
    been seen.
    """
    likely = candidate.serve_probability
    if likely is None or evidence is None or evidence.things is None:
        return candidate
    ball = evidence.toss is not None
    if not ball and (evidence.top < BALL_ROOM or evidence.step_s > LONGEST_STEP_S):
        return candidate
    return replace(candidate, kind=kind_by(with_ball(likely, ball=ball)))
