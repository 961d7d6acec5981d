"""What a film can and cannot support, and the reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from models.contract.metrics.definition import Need
from models.contract.metrics.units import facts
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.vocabulary import EventName, RepetitionKind, View
from workers.engine.calibration import NEVER_CALIBRATED, Calibration, Residual
from workers.engine.events import Instant
from workers.engine.joint_checks import LOCKED_METRICS
from workers.engine.metrics.spec import MetricSpec
from workers.engine.served import ServedBall

SIDE_FACTOR = 2.0
"""From the side, the best place for a single camera, a value is reported with twice the error
that would withhold it elsewhere: its interval says how far to trust it. From elsewhere the error
must be surely within the tolerance, however few the films."""
MIN_FILMS = 2
"""A position from which fewer films with known truth were measured proves nothing."""
FEET_SHARE = 0.8
"""Share of the frames from set-up to contact in which both feet must be seen."""


@dataclass(frozen=True, slots=True)
class FilmContext:
    """What limits the numbers of one repetition.

    Attributes
    ----------
    fps : float
        Capture rate, frames per second.
    view : View or None
        None = joints came from elsewhere: no camera limits apply.
    views : tuple of View
        Every position that the camera's azimuth allows within its uncertainty; a metric is held
        to the one that supports it, however the film is called.
    feet_share : float
        Share of frames in which both feet were seen, 0..1.
    events : mapping of EventName to Instant
    time_doubtful : bool
        The clip's times do not fit free fall.
    errors : Calibration
        What is known of errors on film.
    refused : Note or None
        Why no value of this film means anything (a turned picture, an impossible posture).
    calibrated : bool
        False = every value by every method, as measured: nothing corrected, nothing withheld for
        the view, intervals as propagated. Calibration starts from there.
    missing : mapping of EventName to NoteCode
        Why events are missing, where the film's ends are the reason.
    kind : RepetitionKind
        Work of one kind is proven by films of that kind.
    locked : bool
        Pelvis and shoulders are one line in these joints.
    ball : ServedBall, Note or None
        The served ball, or why its flight tells nothing; None = nobody looked for it.
    """

    fps: float
    view: View | None
    feet_share: float
    events: Mapping[EventName, Instant] = field(default_factory=dict)
    time_doubtful: bool = False
    errors: Calibration = NEVER_CALIBRATED
    calibrated: bool = True
    views: tuple[View, ...] = ()
    missing: Mapping[EventName, NoteCode] = field(default_factory=dict)
    refused: Note | None = None
    kind: RepetitionKind = RepetitionKind.SERVE
    locked: bool = False
    ball: ServedBall | Note | None = None

    def best_for(self, spec: MetricSpec, methods: Sequence[str]) -> FilmContext:
        """Return the same seen from the position that supports a metric; else as it is."""
        if self.view is None or not self.calibrated:
            return self
        for view in (self.view, *self.views):
            method = self.errors.best_method(spec.name, view, self.fps, methods, self.kind)
            if _supports(spec, self, view, method):
                return replace(self, view=view)
        return self


def why_not(spec: MetricSpec, context: FilmContext, method: str) -> Note | None:
    """Return why a metric cannot be measured here and what would allow it, or None if it can.

    ``method`` is the method that would measure it.
    """
    if context.refused is not None:
        return context.refused
    absent = not_found(spec.events, context)
    if absent is not None:
        return absent
    if context.locked and spec.key in LOCKED_METRICS:
        return note(NoteCode.JOINTS_LOCKED)
    if context.time_doubtful and facts(spec.unit).timed:
        return note(NoteCode.TIMES_DOUBTFUL)
    if context.fps < spec.metric.min_fps - 0.5:
        return note(NoteCode.FRAME_RATE_TOO_LOW, fps=context.fps, needed=spec.metric.min_fps)
    if Need.BALL in spec.needs:
        return _no_ball(context)
    if context.view is None:
        return None
    if Need.FEET in spec.needs and context.feet_share < FEET_SHARE:
        return note(NoteCode.FEET_NOT_SEEN)
    return _view_limit(spec, context, context.view, method) if context.calibrated else None


def _no_ball(context: FilmContext) -> Note | None:
    """Return why the served ball's speed is not told, or None if it was followed."""
    if context.ball is None:
        return note(NoteCode.BALL_NOT_LOOKED_FOR)
    return context.ball if isinstance(context.ball, Note) else None


def not_found(events: Iterable[EventName], context: FilmContext) -> Note | None:
    """Return which events are missing and why, or None if all were found."""
    absent = [event for event in events if event not in context.events]
    if not absent:
        return None
    code = context.missing.get(absent[0], NoteCode.EVENT_NOT_FOUND)
    return note(code, events=tuple(event.value for event in absent))


def _view_limit(spec: MetricSpec, context: FilmContext, view: View, method: str) -> Note | None:
    """Return why films from here do not support a metric of this kind of work.

    Positions that were never measured, and values that tell too little of the player, count as
    unsuitable.
    """
    tolerance, errors, fps, kind = spec.metric.tolerance, context.errors, context.fps, context.kind
    if _supports(spec, context, view, method):
        return None
    known = errors.residual(spec.name, view, fps, method, kind)
    unproven = known is None or (view is not View.SIDE and known.count < MIN_FILMS)
    better = [v for v in errors.views_within(spec.name, tolerance, fps, kind) if v != view]
    if better:
        code = NoteCode.VIEW_NOT_PROVEN if unproven else NoteCode.VIEW_NOT_RELIABLE
        return note(code, view=view.value, better=better[0].value)
    if unproven and not errors.views_within(spec.name, None, fps, kind):
        return note(NoteCode.WORK_NOT_PROVEN, kind=kind.value)
    return note(NoteCode.ONE_CAMERA_NOT_RELIABLE, view=view.value)


def _supports(spec: MetricSpec, context: FilmContext, view: View, method: str) -> bool:
    known = context.errors.residual(spec.name, view, context.fps, method, context.kind)
    if known is None or (view is not View.SIDE and known.count < MIN_FILMS):
        return False
    return _good_enough(known, view, spec.metric.tolerance)


def _good_enough(known: Residual, view: View, tolerance: float | None) -> bool:
    if tolerance is None or not known.informative:
        return known.informative
    if view is View.SIDE:
        return known.mae <= SIDE_FACTOR * tolerance
    return known.mae_limit <= tolerance
