"""Bodies from film: the kinematic fit, the learned lift, and the network's own 3D if both fail."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from models.contract.errors import BodyNotInFrame
from models.contract.tracks import BodyMotion, FloatArray, JointTrack
from models.contract.vocabulary import EventName, Handedness, RepetitionKind
from workers.engine.detect import FoundWork
from workers.engine.fit import ClipContext, fit_body
from workers.engine.fit.azimuth import GIVEN_SD
from workers.engine.heads import HeadPaths
from workers.engine.interface import EngineRequest
from workers.engine.learned import Learned
from workers.engine.lift import Lifted, lift_track, lifted_body, within
from workers.engine.network_body import network_body
from workers.engine.proportions import POPULATION_STATURE_M
from workers.engine.readings import BodyEstimate
from workers.engine.uncertainty import draw_joints

BOTH = "fit_and_lift"
BEFORE_HOLD_S = 2.5
"""Time before a hold in which a player comes down from standing, seconds (working value)."""


@dataclass(frozen=True, slots=True)
class FilmBody:
    """One repetition's body by each method that worked, the most trusted first.

    ``azimuth`` is the camera's place about the server and its sd, degrees; ``learned`` are the
    events as the learned lift has them, seconds, ``heads`` what it answers directly.
    """

    estimates: tuple[BodyEstimate, ...]
    azimuth: tuple[float, float]
    learned: Mapping[EventName, float] = field(default_factory=dict)
    heads: HeadPaths | None = None

    @property
    def motion(self) -> BodyMotion:
        """The body that is handed on."""
        return self.estimates[0].motion


def plain_estimate(motion: BodyMotion) -> BodyEstimate:
    """Return an estimate whose samples come from the motion's own standard deviations."""

    def sample(count: int, seed: int) -> FloatArray:
        return draw_joints(motion, count, seed)

    return BodyEstimate(motion, sample)


def _remembered(sample: Callable[[int, int], FloatArray]) -> Callable[[int, int], FloatArray]:
    """Return the function with a memory of its last draw, which two estimates share."""
    kept: dict[tuple[int, int], FloatArray] = {}

    def draw(count: int, seed: int) -> FloatArray:
        if (count, seed) not in kept:
            kept.clear()
            kept[count, seed] = sample(count, seed)
            kept[count, seed].setflags(write=False)
        return kept[count, seed]

    return draw


def film_bodies(
    track: JointTrack,
    found: list[FoundWork],
    hand: Handedness,
    request: EngineRequest,
    learned: Learned,
) -> list[FilmBody | None]:
    """Return the body of each repetition; one fit tells the next about person and camera."""
    context: ClipContext | None = None
    bodies: list[FilmBody | None] = []
    for candidate in found:
        rows = (candidate.start, candidate.stop)
        window = (float(track.time_s[rows[0]]), float(track.time_s[rows[1] - 1]))
        earlier = from_standing(track, candidate)
        lifted = lift_track(track, earlier, hand, learned.lift, told_direction(request))
        lifted = None if lifted is None else within(lifted, rows)
        try:
            fit = fit_body(
                track,
                window,
                handedness=hand,
                request=request,
                landmarks=learned.landmarks,
                context=context,
                lifted=lifted,
            )
        except (BodyNotInFrame, np.linalg.LinAlgError):
            bodies.append(_without_fit(track, rows, hand, request, lifted))
            continue
        context = fit.context
        estimates = [BodyEstimate(fit.motion, _remembered(fit.sample))]
        if lifted is not None:
            heading, _ = direction(fit.azimuth_deg, fit.azimuth_sd)
            body = lifted_body(track, lifted, stature_m=fit.motion.stature_m, heading=heading)
            estimates += [*_both(estimates[0], body), plain_estimate(body)]
        events = {} if lifted is None else lifted.events
        if fit.by_lines:  # angles to the target, now that it is known better
            told = direction(fit.azimuth_deg, fit.azimuth_sd)
            lifted = lift_track(track, earlier, hand, learned.lift, told) or lifted
        heads = None if lifted is None else lifted.heads
        place = (fit.azimuth_deg, fit.azimuth_sd)
        bodies.append(FilmBody(tuple(estimates), place, events, heads))
    return bodies


def from_standing(track: JointTrack, candidate: FoundWork) -> tuple[int, int]:
    """Return the rows that the lift reads: of a hold also how the player came into it.

    A hold is found from where the body is still and low; the lift wants to see it standing.
    """
    if candidate.kind is not RepetitionKind.HOLD:
        return candidate.start, candidate.stop
    since = float(track.time_s[candidate.start]) - BEFORE_HOLD_S
    return int(np.searchsorted(track.time_s, since)), candidate.stop


def told_direction(request: EngineRequest) -> tuple[float, float] | None:
    """Return the direction of the target that the caller states, and its sd, rad."""
    if request.azimuth_deg is None:
        return None
    return direction(request.azimuth_deg, GIVEN_SD)


def direction(azimuth_deg: float, sd_deg: float) -> tuple[float, float]:
    """Return where the target lies about the line to the person, and its sd, rad."""
    return float(np.radians(azimuth_deg - 90.0)), float(np.radians(sd_deg))


def _both(fit: BodyEstimate, lifted: BodyMotion) -> list[BodyEstimate]:
    """Return the mean of fit and lift, whose errors are unlike; nothing where frames differ."""
    motion = fit.motion
    if len(motion) != len(lifted) or not np.array_equal(motion.time_s, lifted.time_s):
        return []
    early = slice(0, max(3, len(motion) // 10))
    shift = np.median(motion.joints[early] - lifted.joints[early], axis=(0, 1))
    moved = replace(lifted, joints=lifted.joints + shift)
    mean = replace(
        motion,
        joints=(motion.joints + moved.joints) / 2.0,
        sd=np.sqrt(motion.sd**2 + moved.sd**2) / 2.0,
        method=BOTH,
    )

    def sample(count: int, seed: int) -> FloatArray:
        both = draw_joints(moved, count, seed + 1)
        both += fit.sample(count, seed)
        both /= 2.0
        return both

    return [BodyEstimate(mean, sample)]


def _without_fit(
    track: JointTrack,
    rows: tuple[int, int],
    hand: Handedness,
    request: EngineRequest,
    lifted: Lifted | None,
) -> FilmBody | None:
    """Return the lift alone, or the network's own 3D; results say so in their method."""
    if lifted is not None:
        stature = request.stature_m or POPULATION_STATURE_M
        azimuth = request.azimuth_deg
        if azimuth is None:
            azimuth = float((90.0 + np.degrees(lifted.heading)) % 360.0)
        heading = float(np.radians(azimuth - 90.0))
        body = lifted_body(track, lifted, stature_m=stature, heading=heading)
        place = (azimuth, float(np.degrees(lifted.heading_sd)))
        return FilmBody((plain_estimate(body),), place, lifted.events, lifted.heads)
    plain = network_body(
        track,
        rows,
        handedness=hand,
        stature_m=request.stature_m or POPULATION_STATURE_M,
        azimuth_deg=request.azimuth_deg,
    )
    if plain is None:
        return None
    return FilmBody((plain_estimate(plain.motion),), plain.azimuth)
