"""Fit one articulated body to one window of a film."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.contract.errors import BodyNotInFrame
from models.contract.tracks import BodyMotion, BoolArray, FloatArray, IntArray, JointTrack
from models.contract.vocabulary import Handedness
from workers.engine.camera import LevelCamera
from workers.engine.fit import contact
from workers.engine.fit.arrow import Factor
from workers.engine.fit.crossed_start import about_crossed, crossed_directions
from workers.engine.fit.depth_signs import Guess
from workers.engine.fit.heading import bearing_of, by_lines, guessed_bearing, heading_by_body
from workers.engine.fit.initial import merge, start, stature_px, typical_focal_px
from workers.engine.fit.lifted_start import lifted_directions
from workers.engine.fit.observations import observe
from workers.engine.fit.offsets import LandmarkErrors
from workers.engine.fit.others import FilmBeside
from workers.engine.fit.phases import Phases
from workers.engine.fit.problem import FitProblem
from workers.engine.fit.result import (
    ClipContext,
    Drawer,
    FitResult,
    Placement,
    level_points,
)
from workers.engine.fit.solve import Solution, minimise
from workers.engine.fit.state import FitState
from workers.engine.interface import EngineRequest
from workers.engine.lift import SHORTEST_FRAMES, Lifted, about_axis
from workers.engine.proportions import LENGTHS, POPULATION_STATURE_M, Proportions

NODE_SPACING_S = 1.0 / 31.0
"""Time between the fit's instants while the wrists are slow, seconds: about 30 per second."""
FAST_SPACING_S = 1.0 / 125.0
"""Least time between them while a wrist is fast, seconds: every frame up to 125 per second."""
FAST_SPEED = 1.6
"""The fit's instants: every frame while a wrist is faster than this (standing heights per second in
the picture), else about 30 per second."""

ROUNDS: tuple[tuple[float, float, float, int], ...] = (
    (0.0, 1.0, 1.0, 7),
    (1.0, 1.0, 0.6, 5),
    (1.0, 0.7, 0.33, 5),
    (1.0, 0.5, 0.33, 5),
)
"""Foot weight, trust in the network's depth and in the usual separation of shoulders and pelvis,
steps. The last two choose between mirror images in depth and then give way to the pictures; foot
contacts are renewed between rounds."""

LIFTED_ROUNDS: tuple[tuple[float, float, float, int], ...] = (
    (0.0, 1.0, 0.33, 4),
    (1.0, 1.0, 0.33, 4),
    (1.0, 1.0, 0.33, 4),
)
"""The same from a start by the learned lift, which chooses the right one of the mirror images."""

FIRST_DAMPING = 1.0
"""Small steps at first: a full step from the first guess can cross into a mirror image in depth."""

POSTERIOR_DRAWS = 24
"""Bodies drawn for the standard deviations of the joints (working value)."""


def fit_body(
    track: JointTrack,
    window: tuple[float, float],
    *,
    handedness: Handedness,
    request: EngineRequest,
    landmarks: LandmarkErrors,
    context: ClipContext | None = None,
    lifted: Lifted | None = None,
    serve: bool = True,
    beside: tuple[FilmBeside, ...] = (),
) -> FitResult:
    """Fit one articulated body of constant proportions to a stretch of film.

    Parameters
    ----------
    track : JointTrack
        Landmarks of one person.
    window : tuple of float
        First and last time, seconds on the clip's timestamps.
    handedness : Handedness
        ``LEFT`` mirrors the picture; anything else is taken as right-handed.
    request : EngineRequest
        Standing height, azimuth or view, where known.
    landmarks : LandmarkErrors
        Where the pose networks put their landmarks.
    context : ClipContext, optional
        From an earlier repetition of the same clip.
    lifted : Lifted, optional
        The same stretch by the learned lift: states depths, weakly.
    serve : bool
        False = any other movement: nothing is expected of a coil, an elbow or a balance.
    beside : tuple of FilmBeside
        Other films of the same serve; their landmarks count as this film's do.

    Returns
    -------
    FitResult

    Raises
    ------
    BodyNotInFrame
        Fewer than eight frames of the window show the body.
    """
    inside = (track.time_s >= window[0]) & (track.time_s <= window[1])
    seen = inside & (np.isfinite(track.xy_raw).all(axis=-1).sum(axis=-1) >= 12)
    rows = np.flatnonzero(seen)
    if len(rows) < SHORTEST_FRAMES:
        raise BodyNotInFrame("Too few frames of this stretch show the body.")
    mirrored = handedness is Handedness.LEFT
    stature = request.stature_m or POPULATION_STATURE_M
    proportions = context.proportions if context else Proportions.population()
    nodes = rows[_choose_nodes(track, rows)]
    if lifted is not None:
        lifted = about_axis(lifted, guessed_bearing(track, nodes, mirrored))
    observations = observe(track, nodes, mirrored, stature, landmarks, lifted)
    uv = merge(observations)
    tall = stature_px(uv, dict(zip(LENGTHS, proportions.mean, strict=True)))
    camera = LevelCamera(
        typical_focal_px(track.width, track.height), (track.width / 2, track.height / 2)
    )
    time_s = observations.time_s
    known = None if lifted is None else lifted_directions(lifted, nodes)
    crossed = [other.start(time_s) for other in beside]
    if crossed:
        known = crossed_directions(crossed[0][2])
    usual = known is None
    phases = Phases.of(time_s, uv, usual=usual) if serve else Phases.none(time_s)
    views = tuple(other.view(time_s) for other in beside)
    problem = FitProblem(observations, proportions, stature, camera.focal_px, tall, phases, views)
    first_camera = context.camera if context else crossed[0][0] if crossed else camera
    starts = [
        start(observations, proportions, stature, first_camera, phases, guess=guess, known=known)
        for guess in (Guess if known is None else (Guess.PLAIN,))
    ]
    if crossed:
        starts = [about_crossed(one, crossed) for one in starts]
    solution = _solve(problem, starts, uv, tall, ROUNDS if known is None else LIFTED_ROUNDS)
    state = solution.state
    level = level_points(state)
    planted = problem.rest[:, :2]
    bearing = bearing_of(level)
    heading, heading_sd = heading_by_body(
        request, context, bearing, observations.time_s, level, planted, lifted
    )
    lined = context is not None and context.by_lines
    if request.azimuth_deg is None and not lined:
        lines = by_lines(track, rows, mirrored, state.camera, (heading, heading_sd))
        lined = lines is not None
        heading, heading_sd = lines or (heading, heading_sd)
    placement = Placement(heading, heading_sd, _early(planted))
    origin = placement.origin(level, state.camera.floor_m)
    _, equations = problem.evaluate(state, build=True)
    assert equations is not None
    time_s = np.asarray(track.time_s[rows], dtype=float)
    factor = Factor.of(equations.equations(), 1e-9)
    drawer = Drawer(state, factor, equations.basis, observations.time_s, time_s, placement, stature)
    without_turn = replace(drawer, placement=replace(placement, heading_sd=0.0))
    joints = drawer.joints(state)
    sd = np.std(without_turn.sample(POSTERIOR_DRAWS, 0), axis=0) * np.sqrt(
        POSTERIOR_DRAWS / (POSTERIOR_DRAWS - 1)
    )
    # In front of the camera's axis the camera stands at heading -90 deg of the levelled frame, as
    # the body sees it; azimuth counts the other way round, and about the body wherever it stands.
    azimuth = float((90.0 + np.degrees(heading + bearing)) % 360.0)
    motion = BodyMotion(
        time_s=time_s,
        frame_index=np.asarray(track.frame_index[rows]),
        joints=joints,
        sd=sd,
        mirrored=mirrored,
        stature_m=stature,
        method="kinematic_fit",
        camera=state.camera.in_court(heading, origin),
    )
    return FitResult(
        motion=motion,
        azimuth_deg=azimuth,
        azimuth_sd=float(np.degrees(heading_sd)),
        by_lines=lined,
        planted=_to_frames(observations.time_s, planted > 0.5, time_s),
        context=_context(state, factor, stature, (azimuth, float(np.degrees(heading_sd))), lined),
        _draw=drawer,
    )


def _solve(
    problem: FitProblem,
    starts: list[FitState],
    uv: FloatArray,
    tall: float,
    rounds: tuple[tuple[float, float, float, int], ...],
) -> Solution:
    """Try each first guess for one round, then refine the cheapest."""
    time_s = problem.seen.time_s
    still = contact.stances(time_s, uv, tall)
    flat = contact.flat_feet(time_s, uv, tall)

    def one_round(
        state: FitState, feet: float, depth: float, coil: float, steps: int, damping: float = 1e-3
    ) -> Solution:
        problem.feet_weight, problem.depth_trust, problem.coil_trust = feet, depth, coil
        problem.settle_forward(state)
        contact.settle(problem, state, still, flat)
        problem.settle_balance(state)
        return minimise(problem, state, steps=steps, damping=damping)

    solution = min((one_round(s, *rounds[0], FIRST_DAMPING) for s in starts), key=lambda s: s.cost)
    total = solution.iterations
    for settings in rounds[1:]:
        solution = one_round(solution.state, *settings)
        total += solution.iterations
    return Solution(solution.state, solution.cost, total, solution.converged)


def _choose_nodes(track: JointTrack, rows: IntArray) -> IntArray:
    """Return positions within ``rows`` of the instants that carry unknowns."""
    time_s = np.asarray(track.time_s[rows], dtype=float)
    wrists = np.asarray(track.xy[rows][:, 15:17], dtype=float)
    size = np.nanmax(np.ptp(np.nan_to_num(track.xy[rows][:, 11:29]), axis=1)[:, 1]) + 1e-9
    speed = np.linalg.norm(np.gradient(wrists, time_s, axis=0), axis=-1).max(axis=1) / size
    fast = np.convolve(np.nan_to_num(speed) > FAST_SPEED, np.ones(3), "same") > 0
    chosen = [0]
    for i in range(1, len(time_s)):
        spacing = FAST_SPACING_S if fast[i] else NODE_SPACING_S
        if time_s[i] - time_s[chosen[-1]] >= spacing * 0.9:
            chosen.append(i)
    if chosen[-1] != len(time_s) - 1:
        chosen.append(len(time_s) - 1)
    return np.array(chosen)


def _early(planted: FloatArray) -> IntArray:
    """Return the first instants at which both feet stand on the court."""
    both = np.flatnonzero(planted.min(axis=1) > 0.5)
    return both[: max(3, len(both) // 4)] if len(both) else np.arange(min(5, len(planted)))


def _to_frames(nodes_s: FloatArray, flags: BoolArray, time_s: FloatArray) -> BoolArray:
    nearest = np.abs(time_s[:, None] - nodes_s).argmin(axis=1)
    return np.asarray(flags[nearest])


def _context(
    state: FitState, factor: Factor, stature_m: float, azimuth: tuple[float, float], lined: bool
) -> ClipContext:
    count = len(LENGTHS)
    spread = np.linalg.inv(np.tril(factor.schur[0]) @ np.tril(factor.schur[0]).T)
    sd = np.sqrt(np.diag(spread))[:count]
    prior = Proportions.population()
    lengths = Proportions(
        state.body[:count] / stature_m, np.clip(sd / stature_m, 0.3 * prior.sd, prior.sd)
    )
    return ClipContext(lengths, state.camera, *azimuth, by_lines=lined)
