"""What a person is told about a clip: the checks, the work found and the bodies, as problems."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.contract.analysis import Repetition
from models.contract.clip import UsabilityCheck
from models.contract.errors import (
    BodyNotInFrame,
    FeetNotInFrame,
    FrameRateDoubtful,
    FrameRateLow,
    FramesRepeated,
    JointsCoarse,
    JointsFrameWrong,
    JointsLocked,
    NoPerson,
    NoServeFound,
    NotSeenClearly,
    OtherHandHits,
    PersonTooSmall,
    PictureNotUpright,
    PostureImpossible,
    SeveralPeople,
    ViewUnsuitable,
)
from models.contract.errors.root import ServewrightError
from models.contract.note import Note
from models.contract.note_codes import NoteCode, Saying, say
from models.contract.problem import Problem
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion
from models.contract.vocabulary import Handedness, Severity
from workers.engine.detect import other_hand_hits, what_was_seen
from workers.engine.joint_checks import lacking, lines_locked, too_fast
from workers.engine.signals import Signals
from workers.engine.time_base import GAPS_SHARE, TimeBase


@dataclass(frozen=True, slots=True)
class Doubts:
    """What the measuring of the repetitions found out.

    Attributes
    ----------
    clock : bool
        Times do not fit free fall.
    refused : tuple of (Note or None)
        Per repetition, why it cannot be a person's posture.
    joints : tuple of ServewrightError
        What is wrong with joints from elsewhere.
    """

    clock: bool = False
    refused: tuple[Note | None, ...] = ()
    joints: tuple[ServewrightError, ...] = ()


def film_problems(
    checks: Sequence[UsabilityCheck],
    repetitions: Sequence[Repetition],
    signals: Signals | None,
    stated: Handedness,
    doubts: Doubts,
) -> tuple[Problem, ...]:
    """Return the problems of a film, each with its own advice."""
    failed = {check.key for check in checks if not check.passed}
    found: list[Problem] = []

    def state(error: ServewrightError, severity: Severity) -> None:
        found.append(_problem(error, severity))

    if "person_seen" in failed:
        state(NoPerson(), Severity.BLOCKING if signals is None else Severity.WARNING)
    if "upright" in failed:
        state(PictureNotUpright(), Severity.BLOCKING)
    elif not repetitions and signals is not None:
        state(_no_work(signals, stated), Severity.BLOCKING)
    if signals is not None and "upright" not in failed:
        if "both_feet" in failed:
            state(FeetNotInFrame(), Severity.WARNING)
        if "whole_body" in failed:
            state(BodyNotInFrame(), Severity.WARNING)
        if failed & {"body_clear", "feet_clear"}:
            state(NotSeenClearly(), Severity.WARNING)
        if "person_size" in failed:
            state(PersonTooSmall(), Severity.WARNING)
    if failed & {"one_person", "server_clear"}:
        state(SeveralPeople(), Severity.WARNING)
    if "frame_rate" in failed:
        state(FrameRateLow(), Severity.NOTE)
    if "side_view" in failed and repetitions:
        state(ViewUnsuitable(), Severity.NOTE)
    return (*found, *_doubts(doubts))


def time_problems(base: TimeBase) -> tuple[Problem, ...]:
    """Say what the film's time is not worth."""
    if base.repeated > 0.0:
        error = FramesRepeated(say(NoteCode.RATE_REPEATED, stored=base.stored_fps, true=base.fps))
    elif base.dropped >= GAPS_SHARE:
        error = FramesRepeated(say(NoteCode.RATE_GAPS, share=base.dropped))
    else:
        return ()
    return (_problem(error, Severity.WARNING),)


def motion_problems(
    repetitions: Sequence[Repetition], signals: Signals | None, doubts: Doubts
) -> tuple[Problem, ...]:
    """Return the problems of a body that came from elsewhere."""
    found: list[Problem] = []
    if not repetitions:
        found.append(Problem.of(no_serve(signals), stage="serve"))
    found += [_problem(error, _severity(error)) for error in doubts.joints]
    return (*found, *_doubts(doubts))


def joint_doubts(motion: BodyMotion) -> tuple[tuple[ServewrightError, ...], bool]:
    """Return what is to be said of joints from elsewhere, and whether their lines are locked."""
    locked = lines_locked(motion.joints, CANONICAL_BODY)
    hurried = too_fast(motion)
    found: list[ServewrightError] = []
    if locked:
        found.append(JointsLocked())
    if lacking(motion.joints, CANONICAL_BODY):
        found.append(JointsCoarse())
    if hurried is not None:
        found.append(FrameRateDoubtful(hurried))
    return tuple(found), locked


def frame_problem(fault: Saying) -> Problem:
    """Return that unit, axes or sides of joints are wrong, so that nothing is measured."""
    return _problem(JointsFrameWrong(fault), Severity.BLOCKING)


def _severity(error: ServewrightError) -> Severity:
    return Severity.NOTE if isinstance(error, JointsCoarse) else Severity.WARNING


def no_serve(signals: Signals | None) -> NoServeFound:
    """Return that there is no serve, and what there is."""
    return NoServeFound(say(NoteCode.NO_SERVE_BUT, seen=what_was_seen(signals)))


def _no_work(signals: Signals, stated: Handedness) -> ServewrightError:
    if other_hand_hits(signals, (), stated):
        return OtherHandHits()
    return no_serve(signals)


def _doubts(doubts: Doubts) -> list[Problem]:
    found: list[Problem] = []
    if doubts.clock:
        found.append(_problem(FrameRateDoubtful(), Severity.WARNING))
    if any(doubts.refused):
        every = all(doubts.refused)
        found.append(
            _problem(PostureImpossible(), Severity.BLOCKING if every else Severity.WARNING)
        )
    return found


def _problem(error: ServewrightError, severity: Severity) -> Problem:
    return Problem.of(error, severity=severity, stage="serve")
