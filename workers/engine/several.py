"""Measure one serve from two films of it: one body that both cameras see.

What is used: the landmarks of both films with their stated errors, constant bone lengths, standing
height, floor and smoothness as in the fit of one view, the learned lift's depths in the first, and
both cameras, whose places stay unknowns of the fit. What is not used: the calibration of single
views (bias, residual and limits of each view). Intervals are the fit's own; what they were not
tried on is withheld.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.contract.analysis import Repetition
from models.contract.errors import BodyNotInFrame, FilmsNoPair
from models.contract.interval import Z95
from models.contract.metrics.units import facts
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode, Saying, say
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.views import SecondView
from models.contract.vocabulary import Handedness
from workers.engine import usability
from workers.engine.detect import FoundWork, find_work
from workers.engine.engine import analyse, known_handedness, measured_repetition
from workers.engine.evidence import evidence_of
from workers.engine.film_bodies import from_standing, told_direction
from workers.engine.fit import fit_body
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.learned import Learned
from workers.engine.lift import lift_track, within
from workers.engine.readings import BodyEstimate
from workers.engine.signals import from_track
from workers.engine.time_base import time_base
from workers.engine.views.fused import SecondFilm, rows_of
from workers.engine.views.pairing import ViewPair, pair_views
from workers.engine.views.seen import seen_body
from workers.engine.witness import from_film

METHOD = "fit_of_two_views"
"""Method of values from a body that two cameras see."""
ORDER = "sequence_proximal_to_distal"
_WITHHELD = dict.fromkeys(
    ("value", "low", "high", "correction", "repeat_sd", "session_sd", "shown_share"), None
) | {"usual_shown_share": None, "measurable": False}


def analyse_pair(
    one: JointTrack, two: JointTrack, request: EngineRequest, learned: Learned
) -> EngineResult:
    """Measure the serve that two films show.

    Parameters
    ----------
    one, two : JointTrack
        The same player's landmarks in both films, each on its film's clock.
    request : EngineRequest
        View and azimuth are those of the first camera.
    learned : Learned

    Returns
    -------
    EngineResult
        Times, frames and bodies are those of the first film; ``second`` says how the second was put
        beside it.

    Raises
    ------
    FilmsNoPair
        The films are no two views of one serve; says what to film instead.
    """
    if not all(np.isfinite(track.xy_raw).any() for track in (one, two)):
        raise FilmsNoPair(say(NoteCode.VIEWS_WITHOUT_SERVE))
    alone = analyse(one, request, learned)
    base = time_base(one)
    first, second = base.track, time_base(two).track
    signals = from_track(first)
    found = [] if signals is None else find_work(signals, request.handedness, request.drill)
    if not found:
        raise FilmsNoPair(say(NoteCode.VIEWS_WITHOUT_SERVE))
    hand, _ = known_handedness(found, request)
    left = hand is Handedness.LEFT
    bodies: list[BodyMotion | None] = []
    repetitions: list[Repetition] = []
    told: SecondView | None = None
    refused: Note | None = None
    for candidate in found:
        pair = _paired(first, second, candidate, left, request, learned)
        if isinstance(pair, Note):
            refused = refused or pair
            continue
        window = (float(first.time_s[candidate.start]), float(first.time_s[candidate.stop - 1]))
        lifted = lift_track(
            first, from_standing(first, candidate), hand, learned.lift, told_direction(request)
        )
        try:
            fit = fit_body(
                first,
                window,
                handedness=hand,
                request=request,
                landmarks=learned.landmarks,
                lifted=None
                if lifted is None
                else within(lifted, (candidate.start, candidate.stop)),
                beside=(pair,),
            )
        except (BodyNotInFrame, np.linalg.LinAlgError):
            refused = refused or BodyNotInFrame().note
            continue
        motion = replace(fit.motion, method=METHOD)
        rows = np.searchsorted(first.frame_index, motion.frame_index)
        repetition, _ = measured_repetition(
            candidate,
            (BodyEstimate(motion, fit.sample),),
            request,
            base.fps,
            None,
            usability.feet_share(first, candidate.start, candidate.stop),
            (float(first.time_s[0]), float(first.time_s[-1])),
            from_film(first, rows, motion.time_s, left),
            {},
            evidence_of(
                first,
                (candidate.start, candidate.stop),
                motion,
                left_handed=left,
                seed=request.seed,
            ),
            learned.calibration,
            learned.event_errors,
        )
        told = told or _told(pair.pair, -1.0 if left else 1.0)
        repetitions.append(_proven(repetition))
        bodies.append(motion)
    if told is None:
        why = refused or note(NoteCode.VIEWS_TOO_SHORT)
        raise FilmsNoPair(Saying(why.code, why.parameters))
    return replace(alone, repetitions=tuple(repetitions), bodies=tuple(bodies), second=told)


def _paired(
    first: JointTrack,
    second: JointTrack,
    candidate: FoundWork,
    left: bool,
    request: EngineRequest,
    learned: Learned,
) -> SecondFilm | Note:
    """Put the second film beside one swing of the first."""
    swing = rows_of(first, candidate.start, candidate.stop)
    one, two = (
        seen_body(
            track,
            learned.landmarks,
            mirrored=left,
            stature_m=request.stature_m,
            heard_s=None if track.sightings is None else track.sightings.heard_s,
        )
        for track in (swing, second)
    )
    pair = pair_views(one, two)
    if isinstance(pair, Note):
        return pair
    middles = [(track.width / 2.0, track.height / 2.0) for track in (first, second)]
    return SecondFilm(pair, one, two, second, (middles[0], middles[1]), left, learned.landmarks)


def _proven(repetition: Repetition) -> Repetition:
    """Withhold what bodies of two views were not held against known truth for.

    Angles and places were; speeds, durations and the order of speeds were not, nor was the
    judgement that is read from several values.
    """
    metrics = tuple(
        metric.model_copy(update=_WITHHELD | {"reason": note(NoteCode.TWO_VIEWS_NOT_PROVEN)})
        if metric.measurable and (facts(metric.unit).timed or metric.key == ORDER)
        else metric
        for metric in repetition.metrics
    )
    return repetition.model_copy(update={"metrics": metrics, "coil": None})


def _told(pair: ViewPair, side: float) -> SecondView:
    """Return what is told of a pair; ``side`` is -1 where the pictures were mirrored."""
    offset, spread = Z95 * pair.offset_sd_s, Z95 * pair.apart_sd_deg
    apart = side * pair.apart_deg
    return SecondView(
        offset_s=round(pair.offset_s, 4),
        offset_low=round(pair.offset_s - offset, 4),
        offset_high=round(pair.offset_s + offset, 4),
        apart_deg=round(apart, 1),
        apart_low=round(apart - spread, 1),
        apart_high=round(apart + spread, 1),
        synchronised_by="movement_and_sound" if pair.heard else "movement",
    )
