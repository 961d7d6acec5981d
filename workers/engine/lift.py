"""A learned lift: from the picture's joints over a whole serve to the body in space.

A temporal network, trained on movements whose joints are known and whose postures are spread
evenly over what bodies can do (`models.training.lift`), reads both pose networks' landmarks over
the stretch and answers, 60 times a second, where the joints are in the levelled camera frame, the
angles that the metrics need (each as the mean of what could be, with its spread), and where the
target lies. The engine takes for each value the method that was found better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from models.contract.skeleton import CANONICAL_BODY as BODY
from models.contract.tracks import BodyMotion, FloatArray, IntArray, JointTrack
from models.contract.vocabulary import EventName, Handedness
from workers.engine import lift_layout as layout
from workers.engine.heads import HeadPaths
from workers.engine.lift_input import Read, read, seen_in

METHOD = "learned_lift"
TIMED = (EventName.LOADING, EventName.TROPHY, EventName.RACKET_LOW, EventName.CONTACT)
"""Events the network times: each frame says how far off they are, within `CLOCK_S`."""
CLOCK_S = 0.2
"""Longest time that a frame's answer spans, seconds; trained with this value."""
BEFORE_CONTACT_S = {EventName.TROPHY: (0.15, 0.7), EventName.RACKET_LOW: (0.05, 0.22)}
"""Usual times before contact in full-speed serves, with room to spare (working values)."""
SLOWEST_FRAME_S = 1.0 / 27.0
"""With longer frame intervals, seconds, the answers about events are not used (working value)."""
_CLOCK_TRUST = 0.5
"""Share of `CLOCK_S` within which an answer counts (working value)."""
SHORTEST_FRAMES = 8
"""Fewest frames from which a body is made, by the lift and by the fit (working value)."""
LEAST_HEADING_SD = float(np.radians(1.5))
"""Standard deviation of the target's direction that is stated at least (working value)."""


@dataclass(frozen=True, slots=True)
class Lifted:
    """Joints of one stretch of film about the mid-hip, in the levelled frame.

    The levelled frame: x right, y away from the camera along the line to the person (not along the
    camera's axis: `about_axis`), z up, of a right-hander (left-handers mirrored).

    Attributes
    ----------
    rows : ndarray of int, shape (T,)
        Rows of the track.
    time_s : ndarray, shape (T,)
    relative : ndarray, shape (T, 21, 3)
        Standing heights.
    sd : ndarray, shape (T, 21, 3)
        Standard deviation of each coordinate, standing heights.
    root : ndarray, shape (T, 3)
        Mid-hip from its standing place, standing heights.
    heading, heading_sd : float
        Direction of the target, rad from x, and its standard deviation.
    mirrored : bool
    heads : HeadPaths or None
        Angles and places that the metrics need, answered directly.
    events : mapping of EventName to float
        When the network thinks the `TIMED` events of a serve are, seconds.
    """

    rows: IntArray
    time_s: FloatArray
    relative: FloatArray
    sd: FloatArray
    root: FloatArray
    heading: float
    heading_sd: float
    mirrored: bool
    heads: HeadPaths | None = None
    events: Mapping[EventName, float] = field(default_factory=dict)


def lift_track(
    track: JointTrack,
    window: tuple[int, int],
    handedness: Handedness,
    network: Callable[[FloatArray], FloatArray],
    told: tuple[float, float] | None = None,
) -> Lifted | None:
    """Lift a stretch of film, or return None where joints are missing.

    Parameters
    ----------
    track : JointTrack
    window : (start, stop)
        Half-open rows; begins with the still stance.
    handedness : Handedness
        ``LEFT`` mirrors the picture first.
    network : callable
        Features (N, `lift_input.WIDTH`) to answers (N, `lift_layout.ANSWERS`).
    told : (heading, sd), optional
        Direction of the target in the levelled frame, rad, where somebody told it.
    """
    mirrored = handedness is Handedness.LEFT
    seen = seen_in(track, np.arange(*window), mirrored)
    if len(seen.rows) < SHORTEST_FRAMES:
        return None
    given = read(seen, told)
    if given is None:
        return None
    answer = network(given.features)
    time = seen.time_s
    heading, spread = _heading(answer)
    return Lifted(
        rows=seen.rows,
        time_s=time,
        relative=_at(given.when, _relative(answer, given), time),
        sd=_at(given.when, _joint_sd(answer), time),
        root=_at(given.when, _root(answer, given), time),
        heading=heading,
        heading_sd=spread,
        mirrored=mirrored,
        heads=_heads(answer, given),
        events=_timed(given.when, answer[:, layout.CLOCK], float(np.median(np.diff(time)))),
    )


def within(lifted: Lifted, rows: tuple[int, int]) -> Lifted:
    """Return the part of a lift that lies in half-open rows of the track."""
    chosen = (lifted.rows >= rows[0]) & (lifted.rows < rows[1])
    if bool(chosen.all()):
        return lifted
    names = ("rows", "time_s", "relative", "sd", "root")
    return replace(lifted, **{name: getattr(lifted, name)[chosen] for name in names})


def about_axis(lifted: Lifted, bearing: float) -> Lifted:
    """Return a lift in the frame of the camera's axis instead of the line to the person.

    ``bearing`` is how far to the right of the axis the person stands, rad.
    """
    c, s = np.cos(bearing), np.sin(bearing)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    across, away, up = np.moveaxis(lifted.sd, -1, 0)
    spread = np.stack([np.hypot(across * c, away * s), np.hypot(across * s, away * c), up], axis=-1)
    return replace(
        lifted,
        relative=lifted.relative @ turn,
        root=lifted.root @ turn,
        sd=spread,
        heading=lifted.heading - bearing,
    )


def lifted_body(
    track: JointTrack, lifted: Lifted, *, stature_m: float, heading: float | None = None
) -> BodyMotion:
    """Return the lifted body in the canonical court frame.

    Parameters
    ----------
    track : JointTrack
    lifted : Lifted
    stature_m : float
    heading : float, optional
        Direction of the target in the levelled frame, rad, where known better (the fit).
    """
    angle = lifted.heading if heading is None else heading
    level = (lifted.relative + lifted.root[:, None]) * stature_m
    c, s = np.cos(angle), np.sin(angle)
    court = level @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    origin = court[: max(3, len(court) // 10)][:, BODY.pair("ankle")].mean(axis=(0, 1))
    across, away, up = np.moveaxis(lifted.sd, -1, 0)
    spread = np.stack([np.hypot(across * c, away * s), np.hypot(across * s, away * c), up], axis=-1)
    return BodyMotion(
        time_s=lifted.time_s,
        frame_index=np.asarray(track.frame_index[lifted.rows]),
        joints=court - origin,
        sd=spread * stature_m,
        mirrored=lifted.mirrored,
        stature_m=stature_m,
        method=METHOD,
    )


def _relative(answer: FloatArray, given: Read) -> FloatArray:
    """Joints about the mid-hip, (N, 21, 3): the network answers how far the picture is off."""
    joints = answer[:, layout.RELATIVE].reshape(-1, len(BODY), 3) * layout.POSITION_UNIT
    joints[..., [0, 2]] += given.place
    return joints


def _root(answer: FloatArray, given: Read) -> FloatArray:
    root = answer[:, layout.ROOT] * layout.POSITION_UNIT
    root[:, [0, 2]] += given.path
    return root


def _joint_sd(answer: FloatArray) -> FloatArray:
    log_sd = np.clip(answer[:, layout.JOINT_LOG_SD], -3.0, 4.0)
    return np.asarray(np.exp(log_sd).reshape(-1, len(BODY), 3) * layout.POSITION_UNIT)


def _heads(answer: FloatArray, given: Read) -> HeadPaths:
    unit = np.array([layout.HEAD_SCALE[name] for name in layout.HEADS])
    log_sd = np.clip(answer[:, layout.LOG_SD], -3.0, 4.0)
    return HeadPaths(given.when, answer[:, layout.MEAN] * unit, np.exp(log_sd) * unit)


def _heading(answer: FloatArray) -> tuple[float, float]:
    """Return the direction on which the frames agree in the mean, and its sd, rad."""
    mean = answer[:, layout.TARGET].mean(axis=0)
    log_sd = np.clip(answer[:, layout.TARGET_LOG_SD], -4.0, 1.0)
    spread = max(float(np.median(np.exp(log_sd))), LEAST_HEADING_SD)
    return float(np.arctan2(mean[1], mean[0])), spread


def _timed(time_s: FloatArray, clocks: FloatArray, frame_s: float) -> dict[EventName, float]:
    """Return what the frames near an event agree on: the mean of what each says, nearest most.

    Nothing where frames are too far apart, or where the answers are no serve's: both happen in
    films unlike those that it learned from.
    """
    if frame_s > SLOWEST_FRAME_S:
        return {}
    found = {}
    for event, clock in zip(TIMED, clocks.T, strict=True):
        weight = np.maximum(_CLOCK_TRUST - np.abs(clock), 0.0)
        if weight.sum() > 0.0:
            found[event] = float(np.average(time_s + CLOCK_S * clock, weights=weight))
    return found if is_serve(found) else {}


def is_serve(found: Mapping[EventName, float]) -> bool:
    """Return whether times of the `TIMED` events, seconds, could be those of a serve."""
    contact = found.get(EventName.CONTACT, np.nan)
    return all(
        low <= contact - found.get(event, np.nan) <= high
        for event, (low, high) in BEFORE_CONTACT_S.items()
    )


def _at(time_s: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """Linear interpolation of (N, ...) at instants, held at the ends."""
    flat = series.reshape(len(time_s), -1)
    t = np.clip(when, time_s[0], time_s[-1])
    i = np.clip(np.searchsorted(time_s, t) - 1, 0, len(time_s) - 2)
    share = ((t - time_s[i]) / (time_s[i + 1] - time_s[i]))[:, None]
    found = flat[i] * (1.0 - share) + flat[i + 1] * share
    return np.asarray(found.reshape(len(t), *series.shape[1:]))
