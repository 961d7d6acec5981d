"""The metrics engine: joints in, measured repetitions out. Pure; seconds per serve."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from models.contract.analysis import Repetition, Scale, ViewEstimate
from models.contract.errors import FrameRateDoubtful
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode, Saying
from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion, JointTrack
from models.contract.vocabulary import (
    EventName,
    Handedness,
    View,
)
from workers.engine import usability
from workers.engine.bend import film_bend
from workers.engine.calibration import NEVER_CALIBRATED, Calibration
from workers.engine.coil import coil_of
from workers.engine.detect import (
    FoundWork,
    handedness_of,
    other_hand_hits,
)
from workers.engine.event_errors import NO_EVENT_ERRORS, EventErrors
from workers.engine.events import Instant, locate
from workers.engine.evidence import Evidence, evidence_of
from workers.engine.film_bodies import FilmBody, film_bodies, plain_estimate
from workers.engine.freefall import body_fall, clock_doubtful
from workers.engine.heads import HeadPaths
from workers.engine.interface import EngineRequest, EngineResult
from workers.engine.joint_checks import frame_fault
from workers.engine.judged_events import as_calibrated, judged
from workers.engine.learned import Learned
from workers.engine.measurability import FilmContext
from workers.engine.measure import events_of, measure
from workers.engine.postures import faces_two_ways, impossible
from workers.engine.problems import (
    Doubts,
    film_problems,
    frame_problem,
    joint_doubts,
    motion_problems,
    time_problems,
)
from workers.engine.proportions import POPULATION_STATURE_M, POPULATION_STATURE_SD_M
from workers.engine.readings import BodyEstimate, floor_height, read
from workers.engine.served import LEAST_TARGET_SD, ServedBall, served_ball
from workers.engine.signals import from_motion, from_track
from workers.engine.time_base import time_base
from workers.engine.view import estimate_view, views_within
from workers.engine.witness import Witness, from_film
from workers.engine.work import judged_by_ball, measured_work

GIVEN_STATURE_SD_M = 0.01
"""Standard uncertainty of a standing height that was given, metres (working value)."""


def analyse(track: JointTrack, request: EngineRequest, learned: Learned) -> EngineResult:
    """Measure everything in a clip from its landmarks.

    Parameters
    ----------
    track : JointTrack
        One person's landmarks over the clip.
    request : EngineRequest
        What the caller knows.
    learned : Learned
        What the engine has learned from films with known truth.

    Returns
    -------
    EngineResult
        Problems are stated in it; nothing is raised for a film that shows too little.
    """
    base = time_base(track)
    track = base.track
    signals = from_track(track)
    found = measured_work(signals, request, track)
    if signals is not None and request.drill is None:
        found = [] if other_hand_hits(signals, found, request.handedness) else found
    hand, hand_source = known_handedness(found, request)
    bodies = film_bodies(track, found, hand, request, learned)
    azimuths = [body.azimuth for body in bodies if body is not None]
    view = estimate_view(azimuths, request.view, request.azimuth_deg)
    fps = base.fps
    windows = [(candidate.start, candidate.stop) for candidate in found]
    checks = usability.checks(track, windows, view)
    upright = all(check.passed for check in checks if check.key == "upright")
    turned = None if upright else note(NoteCode.PICTURE_TURNED)
    repetitions: list[Repetition] = []
    clock, refused = False, []
    for candidate, body in zip(found, bodies, strict=True):
        feet = usability.feet_share(track, candidate.start, candidate.stop)
        witness = None if body is None else _witness(track, body.estimates[-1].motion, hand)
        estimates = () if body is None else body.estimates
        why = _unbelievable(body) if body is not None and upright else None
        refused.append(why)
        evidence = None if body is None else _evidence(track, candidate, body.motion, hand, request)
        repetition, doubtful = measured_repetition(
            judged_by_ball(candidate, evidence),
            estimates,
            request,
            fps,
            view,
            feet,
            (float(track.time_s[0]), float(track.time_s[-1])),
            witness,
            {} if body is None else body.learned,
            evidence,
            learned.calibration,
            learned.event_errors,
            turned or _refused(why),
            None if body is None else body.heads,
            ball=None if body is None else _ball_of(track, body, request),
        )
        repetitions.append(repetition)
        clock |= doubtful
    doubts = Doubts(clock, tuple(refused))
    problems = film_problems(checks, repetitions, signals, request.handedness, doubts)
    problems += time_problems(base)
    return EngineResult(
        view=view,
        handedness=hand,
        handedness_source=hand_source,
        scale=_scale(request),
        repetitions=tuple(repetitions),
        bodies=tuple(None if body is None else body.motion for body in bodies),
        checks=checks,
        problems=problems,
    )


def analyse_motion(motion: BodyMotion, request: EngineRequest) -> EngineResult:
    """Measure everything in a body's motion that came from elsewhere (a laboratory, a file).

    Parameters
    ----------
    motion : BodyMotion
        Canonical body in the court frame (see the contract).
    request : EngineRequest
        View and frame-rate limits of a camera do not apply.
    """
    fault = frame_fault(motion.joints, CANONICAL_BODY)
    if fault is not None:
        return joints_refused(fault, request)
    doubted, locked = joint_doubts(motion)
    hurried = any(isinstance(error, FrameRateDoubtful) for error in doubted)
    signals = from_motion(motion)
    found = measured_work(signals, replace(request, handedness=Handedness.RIGHT))
    fps = usability.frame_rate(motion.time_s, np.arange(len(motion)))
    repetitions: list[Repetition] = []
    bodies: list[BodyMotion | None] = []
    clock, refused = False, []
    for candidate in found:
        part = _part(motion, candidate.start, candidate.stop)
        why = impossible(part)
        refused.append(why)
        repetition, doubtful = measured_repetition(
            candidate,
            (plain_estimate(part),),
            request,
            fps,
            None,
            1.0,
            (float(motion.time_s[0]), float(motion.time_s[-1])),
            refused=_refused(why),
            locked=locked,
            hurried=hurried,
        )
        repetitions.append(repetition)
        bodies.append(part)
        clock |= doubtful
    hand = Handedness.LEFT if motion.mirrored else Handedness.RIGHT
    return EngineResult(
        view=ViewEstimate(label=View.UNKNOWN, source="unknown"),
        handedness=hand,
        handedness_source="given",
        scale=Scale(metres_per_body_height=motion.stature_m, source="joints_in"),
        repetitions=tuple(repetitions),
        bodies=tuple(bodies),
        problems=motion_problems(repetitions, signals, Doubts(clock, tuple(refused), doubted)),
    )


def _unbelievable(body: FilmBody) -> Note | None:
    """Return why the numbers of a filmed body are refused, or None."""
    first, last = body.estimates[0].motion, body.estimates[-1].motion
    return impossible(first) or (None if first is last else faces_two_ways(first, last))


def joints_refused(fault: Saying, request: EngineRequest) -> EngineResult:
    """Return that joints from elsewhere are not as stated: nothing is measured."""
    return EngineResult(
        view=ViewEstimate(label=View.UNKNOWN, source="unknown"),
        handedness=request.handedness,
        handedness_source="unknown" if request.handedness is Handedness.UNKNOWN else "given",
        scale=Scale(source="joints_in"),
        problems=(frame_problem(fault),),
    )


def known_handedness(found: list[FoundWork], request: EngineRequest) -> tuple[Handedness, str]:
    """Return the hand that holds the racket, and where that is known from."""
    if request.handedness is not Handedness.UNKNOWN:
        return request.handedness, "given"
    hand = handedness_of(found)
    return hand, "unknown" if hand is Handedness.UNKNOWN else "estimated"


def _witness(track: JointTrack, motion: BodyMotion, hand: Handedness) -> Witness | None:
    rows = np.searchsorted(track.frame_index, motion.frame_index)
    return from_film(track, rows, motion.time_s, hand is Handedness.LEFT)


def _evidence(
    track: JointTrack,
    candidate: FoundWork,
    motion: BodyMotion,
    hand: Handedness,
    request: EngineRequest,
) -> Evidence | None:
    return evidence_of(
        track,
        (candidate.start, candidate.stop),
        motion,
        left_handed=hand is Handedness.LEFT,
        seed=request.seed,
    )


def _ball_of(
    track: JointTrack, body: FilmBody, request: EngineRequest
) -> Callable[[Instant | None], ServedBall | Note]:
    least = 0.0 if request.azimuth_deg is not None else LEAST_TARGET_SD
    return partial(served_ball, track, body.motion, max(body.azimuth[1], least))


def _part(motion: BodyMotion, start: int, stop: int) -> BodyMotion:
    rows = slice(start, stop)
    return BodyMotion(
        time_s=motion.time_s[rows],
        frame_index=motion.frame_index[rows],
        joints=motion.joints[rows],
        sd=motion.sd[rows],
        mirrored=motion.mirrored,
        stature_m=motion.stature_m,
        method=motion.method,
        camera=motion.camera,
    )


def measured_repetition(
    candidate: FoundWork,
    estimates: Sequence[BodyEstimate],
    request: EngineRequest,
    fps: float,
    view: ViewEstimate | None,
    feet: float,
    film: tuple[float, float],
    witness: Witness | None = None,
    learned: Mapping[EventName, float] | None = None,
    evidence: Evidence | None = None,
    errors: Calibration = NEVER_CALIBRATED,
    event_errors: EventErrors = NO_EVENT_ERRORS,
    refused: Note | None = None,
    heads: HeadPaths | None = None,
    locked: bool = False,
    hurried: bool = False,
    ball: Callable[[Instant | None], ServedBall | Note] | None = None,
) -> tuple[Repetition, bool]:
    """Return one measured repetition, and whether its clock is doubtful.

    ``view`` None: the body was not seen by one camera alone, so nothing that was learned about
    single views is applied.
    """
    if not estimates:
        return Repetition(
            kind=candidate.kind,
            start_s=candidate.contact_s,
            end_s=candidate.contact_s,
            confidence=0.2,
        ), False
    motion = estimates[0].motion
    located = locate(
        estimates[-1].motion,
        candidate.kind,
        witness,
        learned,
        evidence,
        film,
        film_bend([one.motion for one in estimates], heads) if witness is not None else None,
    )
    label = None if view is None else view.label
    events = {
        event: judged(instant, event, label, fps, errors, event_errors)
        for event, instant in located.events.items()
    }
    served = None if ball is None else ball(events.get(EventName.CONTACT))
    trusted = request.capture_fps is None and motion.method != "network_3d"
    fall = body_fall(motion, floor_height(motion), request.sex) if trusted else None
    doubtful = clock_doubtful(fall)
    context = FilmContext(
        fps,
        label,
        feet,
        events,
        doubtful or hurried,
        errors,
        request.calibrated,
        _places(view),
        located.missing,
        refused,
        candidate.kind,
        locked,
        served,
    )
    given = request.stature_m is not None or view is None
    spread = events
    if request.calibrated:
        spread = {k: as_calibrated(one, k, label, fps, errors) for k, one in events.items()}
    readings = read(
        estimates,
        spread,
        sex=request.sex,
        stature_sd_m=GIVEN_STATURE_SD_M if given else POPULATION_STATURE_SD_M,
        seed=request.seed,
        heads=heads,
        served=served if isinstance(served, ServedBall) else None,
    )
    metrics = measure(readings, candidate.kind, context)
    times = [instant.time_s for instant in events.values()]
    repetition = Repetition(
        kind=candidate.kind,
        start_s=round(min(times, default=float(motion.time_s[0])), 5),
        end_s=round(max(times, default=float(motion.time_s[-1])), 5),
        confidence=round(candidate.confidence, 3),
        events=events_of(events, motion),
        metrics=metrics,
        coil=coil_of(readings, context),
    )
    return repetition, doubtful


def _refused(why: Note | None) -> Note | None:
    return None if why is None else note(NoteCode.POSTURE_REFUSED, reason=why)


def _places(view: ViewEstimate | None) -> tuple[View, ...]:
    """Return every name that the camera's place may have, however the film is called."""
    if view is None or view.azimuth_deg is None:
        return ()
    low, high = view.azimuth_low, view.azimuth_high
    centre = view.azimuth_deg
    return views_within(centre, centre if low is None else low, centre if high is None else high)


def _scale(request: EngineRequest) -> Scale:
    if request.stature_m is not None:
        return Scale(
            metres_per_body_height=request.stature_m,
            source="given",
            uncertainty_m=GIVEN_STATURE_SD_M,
        )
    return Scale(
        metres_per_body_height=POPULATION_STATURE_M,
        source="assumed",
        uncertainty_m=POPULATION_STATURE_SD_M,
    )
