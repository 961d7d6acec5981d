"""What a held posture shows right now: weight over the rear foot, turned away or only bent.

Read from the pictures so far by the learned lift, its body or its direct answers, whichever was
more accurate on films of holds; no fit, which needs the whole movement. What calibration knows of
them on such films widens them, and withholds what such films do not tell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from models.contract.coil import CoilVerdict
from models.contract.interval import Z95
from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.tracks import FloatArray, JointTrack
from models.contract.vocabulary import EventName, Handedness, RepetitionKind, View
from workers.engine.calibration import FEW, Calibration
from workers.engine.coil import BENDS, LINES, TURNS, Angle, probabilities, verdict_of
from workers.engine.heads import METHOD, HeadPaths
from workers.engine.lift import METHOD as LIFT
from workers.engine.lift import SHORTEST_FRAMES, Lifted, lift_track, lifted_body
from workers.engine.lift_layout import HEADS
from workers.engine.metrics.weight import hold_rear_foot_load_share
from workers.engine.proportions import POPULATION_STATURE_M
from workers.engine.samples import Samples
from workers.engine.uncertainty import draw_joints, value_and_spread
from workers.engine.view import view_of

STANCE_S = 1.0
"""The first pictures are the stance before the hold, seconds."""
NOW_S = 0.3
"""Answers of so long up to now are averaged, seconds (working value)."""
TOLD_SD_DEG = 8.0
"""Standard deviation of a camera put up by eye, degrees (working value)."""
LIVE_FPS = 15.0
"""Rate for which calibration is asked: the low one."""
UNLIKE_SD = 0.17
"""Standard deviation of the share on ways of holding unlike those that calibrate, where the lift
alone reads it: with it nine films of such holds are held (chosen on these,
`infra/accuracy/live_hold.md`)."""
DRAWS = 48
"""Samples of the lifted body of one reading (working value)."""
SHARE = "hold_rear_foot_load_share"


@dataclass(frozen=True, slots=True)
class HoldNow:
    """One reading.

    Attributes
    ----------
    time_s : float
        Of the last picture.
    share, low, high : float or None
        Weight over the rear foot as a share of one, and its 95 % interval.
    coil : CoilVerdict
    turned_away, only_bent : float or None
        Probabilities.
    reason : Note or None
        Why the share is not told.
    view : View
    """

    time_s: float
    share: float | None
    low: float | None
    high: float | None
    coil: CoilVerdict
    turned_away: float | None
    only_bent: float | None
    reason: Note | None
    view: View


def hold_now(
    track: JointTrack,
    handedness: Handedness,
    lift: Callable[[FloatArray], FloatArray],
    errors: Calibration,
    azimuth_deg: float = 90.0,
) -> HoldNow | None:
    """Return what the last pictures of a track show, or None before there is enough to see.

    Parameters
    ----------
    track : JointTrack
        One person's landmarks so far, standing at first.
    handedness : Handedness
    lift : callable
        The learned lift.
    errors : Calibration
        What films with known truth showed.
    azimuth_deg : float
        Where the camera stands (0 = from the net, 90 = facing the chest): asked for, since the
        turn of somebody who holds still tells it badly.
    """
    if len(track) < SHORTEST_FRAMES:
        return None
    told = float(np.radians(azimuth_deg - 90.0)), float(np.radians(TOLD_SD_DEG))
    lifted = lift_track(track, (0, len(track)), handedness, lift, told)
    if lifted is None or lifted.heads is None:
        return None
    heads = lifted.heads
    if heads.time_s[-1] - heads.time_s[0] < STANCE_S:
        return None
    view = view_of(azimuth_deg)
    share, reason = _share(track, lifted, heads, view, errors)
    turned, bent, verdict = _coil(heads, view, errors)
    return HoldNow(
        time_s=float(track.time_s[-1]),
        share=None if share is None else round(share.value, 4),
        low=None if share is None else round(max(share.value - Z95 * share.sd, 0.0), 4),
        high=None if share is None else round(min(share.value + Z95 * share.sd, 1.0), 4),
        coil=verdict,
        turned_away=turned,
        only_bent=bent,
        reason=reason,
        view=view,
    )


def _at(heads: HeadPaths, name: str, *, stance: bool) -> Angle:
    """Return an answer in the stance, or now, with its standard deviation."""
    column = HEADS.index(name)
    if stance:
        rows = heads.time_s <= heads.time_s[0] + NOW_S
    else:
        rows = heads.time_s >= heads.time_s[-1] - NOW_S
    return Angle(float(heads.mean[rows, column].mean()), float(heads.sd[rows, column].mean()))


def _share(
    track: JointTrack, lifted: Lifted, heads: HeadPaths, view: View, errors: Calibration
) -> tuple[Angle | None, Note | None]:
    """Return the share of weight and its standard deviation, or why it is not told."""
    methods = (LIFT, METHOD)
    method = errors.best_method(SHARE, view, LIVE_FPS, methods, RepetitionKind.HOLD)
    known = errors.residual(SHARE, view, LIVE_FPS, method, RepetitionKind.HOLD)
    if known is None or known.count < FEW or not known.informative:
        better = errors.views_within(SHARE, None, LIVE_FPS, RepetitionKind.HOLD)
        if better:
            code = NoteCode.VIEW_NOT_RELIABLE
            return None, note(code, view=view.value, better=better[0].value)
        return None, note(NoteCode.WORK_NOT_PROVEN, kind=RepetitionKind.HOLD.value)
    direct = method == METHOD
    now = _at(heads, "load", stance=False) if direct else _by_body(track, lifted)
    if not (np.isfinite(now.value) and np.isfinite(now.sd)):
        return None, note(NoteCode.FEET_NOT_SEEN)
    value = float(np.clip(now.value - known.bias, 0.0, 1.0))
    return Angle(value, float(np.hypot(np.hypot(now.sd, known.sd), UNLIKE_SD))), None


def _by_body(track: JointTrack, lifted: Lifted) -> Angle:
    """Return the share by the lifted body's posture, and what its joints' uncertainty leaves."""
    body = lifted_body(track, lifted, stature_m=POPULATION_STATURE_M)
    rows = body.time_s >= body.time_s[-1] - NOW_S
    lately = replace(
        body,
        time_s=body.time_s[rows],
        frame_index=body.frame_index[rows],
        joints=body.joints[rows],
        sd=body.sd[rows],
    )
    if len(lately) < 2:
        return Angle(float("nan"), float("nan"))

    def samples(joints: FloatArray) -> Samples:
        ends = {
            EventName.SET_UP: np.full(len(joints), lately.time_s[0]),
            EventName.FINISH: np.full(len(joints), lately.time_s[-1]),
        }
        stature = np.full(len(joints), POPULATION_STATURE_M)
        return Samples(lately.time_s, joints, ends, stature)

    drawn = draw_joints(lately, DRAWS, 0)
    value, sd = value_and_spread(
        hold_rear_foot_load_share, samples(lately.joints[None]), samples(drawn)
    )
    return Angle(value, sd)


def _coil(
    heads: HeadPaths, view: View, errors: Calibration
) -> tuple[float | None, float | None, CoilVerdict]:
    """Return the probabilities of turned away and of only bent, and what may be told."""
    turn = _gained(heads, tuple(f"{line}_since" for line in LINES), TURNS, view, errors)
    bend = _gained(heads, ("front_knee", "rear_knee"), BENDS, view, errors)
    if turn is None or bend is None:
        return None, None, CoilVerdict.UNDECIDED
    turned, bent, still = probabilities(turn, bend)
    return round(turned, 3), round(bent, 3), verdict_of(turned, bent, still)


def _gained(
    heads: HeadPaths,
    names: tuple[str, ...],
    parts: tuple[str, ...],
    view: View,
    errors: Calibration,
) -> Angle | None:
    """Return the mean change of answers since the stance; None where films prove nothing.

    From stance to load a hold is a serve, of which the errors are known. Errors of one film are
    alike, so that a mean errs as much as its parts.
    """
    rows = [errors.residual(part, view, LIVE_FPS, METHOD) for part in parts]
    known = [row for row in rows if row is not None]
    if len(known) < len(parts):
        return None
    ends = [(_at(heads, name, stance=True), _at(heads, name, stance=False)) for name in names]
    value = float(np.mean([now.value - then.value for then, now in ends]))
    spread = float(np.mean([now.sd for _, now in ends]))
    return Angle(value, float(np.hypot(spread, np.mean([row.sd for row in known]))))
