"""How fast the served ball is just after contact, from where one camera sees it.

The body in the picture gives metres and the depth at which the ball was struck; the sightings of
the struck ball give its path; the target line gives the direction that one camera does not see.
What is unknown (heading, depth, the camera's distance, time of contact) is fitted with what is
known of it beforehand, so that it widens the interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.note import Note, note
from models.contract.note_codes import NoteCode
from models.contract.tracks import BodyMotion, BoolArray, Camera, FloatArray, JointTrack
from workers.engine.events import Instant
from workers.engine.load import GRAVITY
from workers.engine.served_path import EDGE_PX, FOLLOWED_S, LEAST, Moving, Picked, chain, picked

FITTED = "kinematic_fit"
DRAG, DRAG_SD = 0.55, 0.07
"""Drag coefficient of a tennis ball: 0.507 in free flight, whatever the spin (Sports Eng 2014,
17:89-96, doi 10.1007/s12283-013-0144-9, Cross and Lindsey), 0.6 to 0.7 in wind tunnels (Sports
Technol 2008, 1(1):7-16, doi 10.1002/jst.11, Mehta, Alam and Subic): between them."""
RADIUS_M, MASS_KG, AIR = 0.0335, 0.0577, 1.2
"""Of a ball by the rules of the game; kg/m³ at 20 degrees (from memory)."""
SLOWED = 0.5 * AIR * np.pi * RADIUS_M**2 / MASS_KG
"""Share of its speed that a ball loses a metre for a drag coefficient of one."""
LIFT = 0.12
"""Lift coefficient of topspin, downward (same source: 0.1 to 0.2 at usual spins; from memory)."""
REACH_M = (0.1, 0.0, 0.5)
"""From the wrist to the ball at contact, metres ahead, aside and up: the racket (0.685 m) is about
upright then (common practice, no source)."""
PLACE_SD_M, DEPTH_SD_M = 0.25, 0.2
"""Where the ball is struck about that point: in the picture, and away from the camera (working
values: the racket leans by up to 20 degrees)."""
SPEED, SPEED_SD = 40.0, 30.0
"""m/s: nothing is known beforehand."""
HEADING_SD, ELEVATION, ELEVATION_SD = np.radians(8.0), np.radians(-3.0), np.radians(8.0)
"""A serve goes to either half of a box: up to 13 degrees off the long axis of the court, by the
court's measures (6.4 m to the service line, 11.9 m to the net, boxes 4.1 m wide)."""
HEADINGS, FIXED = 2.6, 1e-4
"""Headings that are tried, in standard deviations; how tightly one is held, rad."""
LEAST_TARGET_SD = 10.0
"""Degrees: of a target line that nobody told, at least. On movements that nothing learned from the
engine was off by 17 and 21 degrees in two of six films, of which it stated 5 and 6."""
FARTHEST = 4.0
"""Standard deviations that an unknown may be off; speed stays over 5 m/s, drag over 0.2."""
FAR_SD = 0.15
"""Standard deviation of the logarithm of the camera's distance with the size of the body kept
(working value, as the prior of the fit)."""
SCALE_SD = 0.015
"""Relative standard deviation of metres in the picture at the body (working value)."""
PLACE_PX, PLACE_M, PLACE_SHARE, PLACE_FIRST = 1.0, 0.012, 0.1, 2.0
"""Standard deviation of the middle of a streak: pixels and metres, whichever is more, with a share
of half its length, whose faint end may be missed; so many times as much of the first, which the
racket may hide in part (working values, on the tuning set)."""
WIDEST = 0.12
"""Largest relative standard deviation that is told: beyond it the heading rules."""
NARROW, WIDE = 0.3, 2.2
"""Widths of a streak in balls (working values: streaks are faint at their edges, lenses blur)."""
STEEP = 25.0
"""Least angle between the line of sight and the target line, degrees: nearer to it the heading is
all that a speed hangs on (at 25 degrees one degree of heading is 4 % of speed)."""
USUAL = 40.0
"""m/s with which it is asked how many frames would show the ball."""


@dataclass(frozen=True, slots=True)
class ServedBall:
    """Speed just after contact.

    Attributes
    ----------
    speed, sd : float
        m/s; the scale of the stature is not in the standard deviation.
    seen : int
        Sightings.
    """

    speed: float
    sd: float
    seen: int

    def draw(self, count: int, seed: int) -> FloatArray:
        """Return samples, m/s, shape (S,)."""
        noise = np.random.default_rng([seed, 2]).standard_normal(count)
        return np.asarray(np.maximum(self.speed + self.sd * noise, 0.0))


def served_ball(
    track: JointTrack, motion: BodyMotion, heading_sd: float, contact: Instant | None
) -> ServedBall | Note:
    """Return the speed of the served ball, or why it cannot be told.

    Parameters
    ----------
    track : JointTrack
        With its sightings.
    motion : BodyMotion
        From film, with its camera, in the canonical court frame.
    heading_sd : float
        Of the target line about the camera, degrees.
    contact : Instant or None
    """
    sightings, size = track.sightings, (track.width, track.height)
    if sightings is None or contact is None:
        return note(NoteCode.BALL_NOT_LOOKED_FOR)
    camera = motion.camera
    if camera is None or motion.method != FITTED:
        return note(NoteCode.BALL_DEPTH_UNKNOWN)
    struck = _racket(motion, contact.time_s)
    across = _across(camera, struck)
    if across < np.sin(np.radians(STEEP)):
        return note(NoteCode.BALL_ALONG_VIEW)
    found = picked(sightings, contact.time_s - 0.1, contact.time_s + FOLLOWED_S)
    moving = _in_plane(found, size, motion.mirrored, camera, struck)
    rows = chain(moving, contact.time_s, contact.sd_s)
    if len(rows) < LEAST:
        frames = _frames_inside(camera, struck, size, contact.time_s, found.steps_s)
        if frames < LEAST:
            return note(NoteCode.BALL_LEAVES_PICTURE, frames=frames)
        return note(NoteCode.BALL_NOT_FOLLOWED)
    half = np.hypot(*moving.streak[rows].T)
    flight = _Flight(camera, struck, moving.time_s[rows], moving.xy[rows], half)
    spread = float(np.hypot(HEADING_SD, np.radians(heading_sd)))
    speed, sd, off = flight.fitted(contact.time_s, contact.sd_s, spread)
    if off > 3.0:
        return note(NoteCode.BALL_NOT_FOLLOWED)
    if sd > WIDEST * speed:
        return note(NoteCode.BALL_ALONG_VIEW)
    return ServedBall(speed, float(np.hypot(sd, SCALE_SD * speed)), len(rows))


def _racket(motion: BodyMotion, time_s: float) -> FloatArray:
    """Return where the ball is about contact, (3,)."""
    path = motion.joint("hitting_wrist")
    wrist = np.array([np.interp(time_s, motion.time_s, axis) for axis in path.T])
    return np.asarray(wrist + np.array(REACH_M))


def _across(camera: Camera, point: FloatArray) -> float:
    """Return the sine of the angle between the line of sight and the target line."""
    sight = point - (-camera.R.T @ camera.t)
    level = sight[:2] / np.linalg.norm(sight[:2])
    return float(abs(level[1]))


def _rays(camera: Camera, xy: FloatArray) -> FloatArray:
    """Return the directions of pixels (N, 2) in the court frame, (N, 3)."""
    full = np.column_stack([xy, np.ones(len(xy))])
    return np.asarray(full @ np.linalg.inv(camera.K).T @ camera.R)


def _in_plane(
    found: Picked, size: tuple[int, int], mirrored: bool, camera: Camera, struck: FloatArray
) -> Moving:
    """Return things as places in the upright plane of the target line through the racket."""
    edge = np.array(size, np.float64)
    ends = np.stack([found.xy - found.half, found.xy + found.half])
    whole: BoolArray = np.asarray(((ends > EDGE_PX) & (ends < edge - EDGE_PX)).all(axis=(0, 2)))
    eye = -camera.R.T @ camera.t
    pixels_a_metre = float(camera.K[0, 0] / (camera.R @ struck + camera.t)[2])
    share = found.width / (2.0 * RADIUS_M * pixels_a_metre)
    whole &= (share > NARROW) & (share < WIDE)
    xy, half = found.xy.copy(), found.half.copy()
    if mirrored:
        xy[:, 0], half[:, 0] = size[0] - xy[:, 0], -half[:, 0]

    def placed(pixels: FloatArray) -> FloatArray:
        rays = _rays(camera, pixels)
        far = (struck[1] - eye[1]) / np.where(np.abs(rays[:, 1]) < 1e-6, np.nan, rays[:, 1])
        points = eye + rays * np.where(far > 0.0, far, np.nan)[:, None]
        return np.asarray((points - struck)[:, [0, 2]])

    place = placed(xy)
    streak = (placed(xy + half) - placed(xy - half)) / 2.0
    whole = whole & np.isfinite(place).all(axis=1) & np.isfinite(streak).all(axis=1)
    return Moving(found.time_s, xy, place, streak, whole, found.steps_s)


def _frames_inside(
    camera: Camera,
    struck: FloatArray,
    size: tuple[int, int],
    contact_s: float,
    steps_s: FloatArray,
) -> int:
    """Return how many frames would show a usual ball whole."""
    after = steps_s[steps_s > contact_s] - contact_s
    ahead = struck + np.outer(after * USUAL, [1.0, 0.0, float(np.sin(ELEVATION))])
    uv = camera.project(ahead)
    inside = ((uv > 0.0) & (uv < np.array(size, np.float64))).all(axis=1)
    return int(np.sum(inside))


@dataclass(frozen=True, slots=True)
class _Flight:
    """What is seen of one flight, and the fit to it.

    Unknowns, in this order: contact across and over the racket's place and away from the camera
    (m), time of contact (s), speed (m/s), heading, elevation (rad), logarithm of the camera's
    distance, drag coefficient.
    """

    camera: Camera
    struck: FloatArray
    time_s: FloatArray
    xy: FloatArray
    half_m: FloatArray

    def seen(self, unknown: FloatArray) -> FloatArray:
        """Return where the ball would be seen, (N, 2)."""
        right, up, away, contact_s, speed, heading, elevation, far, drag = unknown
        camera = self.camera
        sight = self.struck - (-camera.R.T @ camera.t)
        level = np.array([sight[0], sight[1], 0.0]) / np.hypot(sight[0], sight[1])
        side = np.array([level[1], -level[0], 0.0])
        start = self.struck + right * side + away * level + np.array([0.0, 0.0, up])
        ahead = np.array(
            [
                np.cos(elevation) * np.cos(heading),
                np.cos(elevation) * np.sin(heading),
                np.sin(elevation),
            ]
        )
        after = np.maximum(self.time_s - contact_s, 0.0)
        slowed = SLOWED * drag
        path = np.log1p(slowed * speed * after) / slowed
        fall = 0.5 * (GRAVITY + SLOWED * LIFT * speed**2) * after**2
        points = start + path[:, None] * ahead - fall[:, None] * np.array([0.0, 0.0, 1.0])
        depth = float((camera.R @ self.struck + camera.t)[2])
        seen = points @ camera.R.T + camera.t
        seen[:, 2] += depth * np.expm1(far)
        focal = np.exp(far) * np.array([camera.K[0, 0], camera.K[1, 1]])
        return np.asarray(seen[:, :2] / seen[:, 2:] * focal + camera.K[:2, 2])

    def fitted(
        self, contact_s: float, contact_sd_s: float, heading_sd: float
    ) -> tuple[float, float, float]:
        """Return speed and its standard deviation, m/s, and the misfit in standard deviations."""
        nodes = np.linspace(-HEADINGS, HEADINGS, 13)
        told = np.array([self._fitted(contact_s, contact_sd_s, heading_sd, x) for x in nodes])
        weight = np.exp(-0.5 * (told[:, 3] - told[:, 3].min()))
        weight /= weight.sum()
        speed = float(weight @ told[:, 0])
        sd = float(np.sqrt(weight @ (told[:, 1] ** 2 + (told[:, 0] - speed) ** 2)))
        return speed, sd, float(weight @ told[:, 2])

    def _fitted(
        self, contact_s: float, contact_sd_s: float, heading_sd: float, node: float
    ) -> tuple[float, float, float, float]:
        """Return speed, sd, misfit, and the sum of squares, of a heading in its sds."""
        depth = float((self.camera.R @ self.struck + self.camera.t)[2])
        scale = float(self.camera.K[0, 0]) / depth
        pixel = np.hypot(max(PLACE_PX, PLACE_M * scale), PLACE_SHARE * scale * self.half_m)
        pixel[0] *= PLACE_FIRST
        heading = node * heading_sd
        middle = np.array([0.0, 0.0, 0.0, contact_s, SPEED, heading, ELEVATION, 0.0, DRAG])
        sd = np.array(
            [
                *(PLACE_SD_M, PLACE_SD_M, DEPTH_SD_M, max(contact_sd_s, 0.004), SPEED_SD),
                *(FIXED, ELEVATION_SD, FAR_SD, DRAG_SD),
            ]
        )
        step = 1e-4 * sd
        # nothing leaves what can be, on the way to the solution either
        room = FARTHEST * sd
        room[4], room[8] = SPEED - 5.0, DRAG - 0.2
        now = middle.copy()
        now[3] = min(contact_s, float(self.time_s[0]) - 1e-3)
        for _ in range(12):
            off, slope = self._equations(now, middle, sd, pixel, step)
            change = -np.linalg.lstsq(slope, off, rcond=None)[0]
            now = np.clip(now + np.clip(change, -2.0 * sd, 2.0 * sd), middle - room, middle + room)
        off, slope = self._equations(now, middle, sd, pixel, step)
        spread = np.linalg.inv(slope.T @ slope)
        width = float(np.sqrt(spread[4, 4]))
        misfit = float(np.sqrt(np.mean(off[: 2 * len(self.xy)] ** 2)))
        return float(now[4]), width, misfit, float(off @ off) + node**2

    def _equations(
        self,
        now: FloatArray,
        middle: FloatArray,
        sd: FloatArray,
        pixel: FloatArray,
        step: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return what is left of all equations, in standard deviations, and its derivatives."""

        def left(unknown: FloatArray) -> FloatArray:
            seen = ((self.seen(unknown) - self.xy) / pixel[:, None]).ravel()
            return np.concatenate([seen, (unknown - middle) / sd])

        off = left(now)
        slope = np.empty((len(off), len(now)))
        for k in range(len(now)):
            moved = now.copy()
            moved[k] += step[k]
            slope[:, k] = (left(moved) - off) / step[k]
        return off, slope
