"""An analysis of joints from elsewhere, as one of a film, without what only pictures give."""

from __future__ import annotations

import numpy as np

from models.contract.analysis import Scale, ViewEstimate
from models.contract.clip import ClipFacts
from models.contract.errors import InvalidRequest, NoPerson, NoServeFound
from models.contract.note import Note
from models.contract.note_codes import NoteCode, say
from models.contract.tracks import FloatArray, IntArray
from models.contract.vocabulary import Handedness, Stage, View
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.usability import frame_rate
from workers.joints_in.arrays import LEAST_FRAMES
from workers.joints_in.contents import JointFile
from workers.joints_in.measure import measure
from workers.learned import load
from workers.pipeline.progress import PipelineProgress, Report, silent
from workers.pipeline.run import (
    PipelineResult,
    StageTimer,
    empty_track,
    merge,
    nobody,
    person_seen,
    with_cautions,
)


def analyse_joints(
    file: JointFile,
    request: EngineRequest,
    *,
    target_xy: tuple[float, float] | None = None,
    accuracy_m: float | None = None,
    sha256: str | None = None,
    size_bytes: int | None = None,
    report: Report = silent,
    extra_cautions: tuple[Note, ...] = (),
) -> PipelineResult:
    """Measure what a joint file holds.

    Parameters
    ----------
    file : JointFile
    request : EngineRequest
        What the caller knows.
    target_xy : (x, y) or None
        Horizontal direction of the target in the axes of raw joints.
    accuracy_m : float or None
        Stated standard deviation of each coordinate of raw joints, metres.
    sha256, size_bytes : optional
        Of the file, for its facts.
    report : callable
        Called with the stage and the share done; what it raises ends the analysis.
    extra_cautions : tuple of Note
        Added to those that every analysis carries.

    Raises
    ------
    InvalidRequest
        If nothing can be measured in it; says why.
    """
    timer = StageTimer(PipelineProgress(report))
    with timer.stage(Stage.SERVE):
        facts = facts_of(file).model_copy(update={"sha256": sha256, "size_bytes": size_bytes})
        track = file.track
        if track is not None and not file.bodies and not person_seen(track):
            found = nobody(request)
        else:
            found = together(measure(file, request, target_xy, accuracy_m))
        engine = load()
        analysis = merge(facts, (), (), found, request, engine.models, engine.identity)
    analysis = with_cautions(analysis, extra_cautions)
    kept = empty_track(facts) if track is None else track
    return PipelineResult(analysis, kept, found.bodies, timings_s=timer.seconds)


def facts_of(file: JointFile) -> ClipFacts:
    """Return what the file is, as a film would be.

    Raises
    ------
    InvalidRequest
        If it has too few frames.
    """
    time_s, frames = _clock(file)
    if len(time_s) < LEAST_FRAMES:
        raise InvalidRequest(say(NoteCode.JOINT_FRAMES_FEW, frames=len(time_s), least=LEAST_FRAMES))
    rate = frame_rate(time_s, frames)
    if not rate > 0:
        raise InvalidRequest(say(NoteCode.JOINT_OUT_OF_RANGE, name="frame"))
    return ClipFacts(
        duration_s=float(time_s[-1] - time_s[0]) + 1.0 / rate,
        frame_rate=rate,
        frames=len(time_s),
        width=0 if file.track is None else file.track.width,
        height=0 if file.track is None else file.track.height,
    )


def _clock(file: JointFile) -> tuple[FloatArray, IntArray]:
    """Return times and numbers of all frames, in order."""
    if file.raw is not None:
        return file.raw.time_s, np.arange(len(file.raw.time_s))
    if file.track is not None:
        return file.track.time_s, file.track.frame_index
    if not file.bodies:
        return np.empty(0), np.empty(0, np.int64)
    time_s = np.concatenate([body.time_s for body in file.bodies])
    frames = np.concatenate([body.frame_index for body in file.bodies])
    time_s, first = np.unique(time_s, return_index=True)
    return time_s, frames[first]


def together(results: list[EngineResult]) -> EngineResult:
    """Return the results of the bodies of one file as one.

    What they do not agree in (the hand, the height) is not known of the whole; that one body shows
    no serve is no problem where another shows one.
    """
    if len(results) == 1:
        return results[0]
    first = results[0]
    hands = {one.handedness for one in results}
    one_hand = len(hands) == 1
    repetitions = tuple(one for result in results for one in result.repetitions)
    absent = {NoServeFound.code, NoPerson.code} if repetitions else set()
    return EngineResult(
        view=ViewEstimate(label=View.UNKNOWN, source="unknown"),
        handedness=first.handedness if one_hand else Handedness.UNKNOWN,
        handedness_source=first.handedness_source if one_hand else "unknown",
        scale=first.scale
        if all(one.scale == first.scale for one in results)
        else Scale(source="joints_in"),
        repetitions=repetitions,
        bodies=tuple(body for result in results for body in result.bodies),
        problems=tuple(p for result in results for p in result.problems if p.code not in absent),
    )
