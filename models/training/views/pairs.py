"""Pairs of films of one serve by hand-held cameras, as tracks: exact truth, no pictures.

What is drawn: place, focal length, aim, sway and rolling shutter of both cameras, frame rates,
clocks, constant and wandering errors of the landmarks and of the networks' own 3D. Sizes of the
errors are those of `models.training.events.seen` (1.2 % of stature for a landmark, 1.8 for a
wrist), half of the variance constant for one film as in `models.training.bound`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from models.contract.skeleton import CANONICAL_BODY, LANDMARKS, counterpart
from models.contract.tracks import JointTrack
from models.training.events.dense import Array, Dense, sampled
from models.training.events.seen import LANDMARK_SD, MEMORY, WRIST_SD
from models.training.rendered.movements import generate, random_of
from models.training.rendered.skeleton import sample_skeleton

WIDTH, HEIGHT = 1920, 1080
"""Pixels."""
RATES = (30.0, 50.0, 60.0, 120.0)
"""Frames a second."""
LEAD_S = 0.5
"""What a film holds before the set-up at least, seconds."""
SWAY_DEG, SWAY_S = 0.2, 0.5
"""How far a hand-held phone turns off its aim about each axis, degrees, and how long that lasts,
seconds (working values)."""
READOUT_S = (0.005, 0.016)
"""Time from the first to the last line of a picture, seconds: phones of these years (working
value)."""
CAMERA_AZIMUTH = (20.0, 165.0)
"""Where the first camera stands, degrees: 0 = net, 90 = facing the chest."""
APART = (40.0, 120.0)
"""Angle between both cameras about the server, degrees."""


@dataclass(frozen=True)
class Filmed:
    """One film: its track, its camera's azimuth (degrees), what its clock shows when the
    movement's shows zero (seconds), and the direction from the camera to the standing player along
    the floor, unit, (2,)."""

    track: JointTrack
    azimuth_deg: float
    offset_s: float
    look: Array


@dataclass(frozen=True)
class Habit:
    """What a network errs alike in all films of one place: landmarks, standing heights (21, 2);
    depths (21,) of its own 3D, standing heights; and by what it draws all depths together.
    """

    plane: Array
    depth: Array
    flat: float


@dataclass(frozen=True)
class Pair:
    """Two films of one serve, and the serve."""

    dense: Dense
    one: Filmed
    two: Filmed

    @property
    def apart_deg(self) -> float:
        """How far the second look is turned to the left of the first, -180 to 180 degrees."""
        a, b = (complex(*film.look) for film in (self.one, self.two))
        return float(np.degrees(np.angle(b / a)))

    @property
    def offset_s(self) -> float:
        """What to add to a time of the first film for the same instant of the second."""
        return self.two.offset_s - self.one.offset_s


def movements(use: str, generator: str, seed: int, count: int) -> Iterator[Dense]:
    """Serves of right-handers by one generator."""
    found = index = 0
    while found < count:
        rng = random_of(use, seed, index)
        index += 1
        try:
            performance = generate(generator, sample_skeleton(rng), rng, "serve")
            right = replace(performance, left_handed=False)
            dense = sampled(f"{generator}-{seed}-{index - 1:03d}", right)
        except (RuntimeError, KeyError):
            continue
        if not {"set_up", "contact", "finish"} <= set(dense.events):
            continue
        found += 1
        yield dense


def draw_pair(dense: Dense, rng: np.random.Generator, apart: tuple[float, float] = APART) -> Pair:
    """Film a serve with two cameras that stand some degrees apart."""
    first = rng.uniform(*CAMERA_AZIMUTH)
    step = rng.uniform(*apart) * rng.choice([-1.0, 1.0])
    return Pair(dense, film(dense, first, rng), film(dense, first + step, rng))


def habit(rng: np.random.Generator) -> Habit:
    """Draw what is erred alike."""
    count = len(CANONICAL_BODY)
    plane = _half() * rng.normal(size=(count, 2))
    return Habit(plane, 0.03 * rng.normal(size=count), float(rng.uniform(0.55, 1.05)))


def film(
    dense: Dense, azimuth_deg: float, rng: np.random.Generator, usual: Habit | None = None
) -> Filmed:
    """Film a serve from a place about the server.

    ``usual``: what films of that place err alike; drawn anew without.
    """
    usual = usual or habit(np.random.default_rng(rng.integers(1 << 31)))
    fps = float(rng.choice(RATES))
    start = max(dense.events["set_up"] - LEAD_S, 0.0) + rng.uniform(0.0, 0.3)
    stop = min(dense.events["finish"] + rng.uniform(0.2, 0.5), float(dense.time_s[-1]))
    time = np.arange(start, stop, 1.0 / fps)
    focal = HEIGHT * np.exp(rng.uniform(np.log(1.3), np.log(2.7)))
    tall = dense.stature_m
    distance = float(focal * tall / (rng.uniform(0.35, 0.6) * HEIGHT))
    azimuth = np.radians(azimuth_deg)
    look = -np.array([np.cos(azimuth), -np.sin(azimuth)])
    standing = dense.joints[: max(1, int(0.2 * len(dense.joints)))].mean(axis=(0, 1))
    place = np.array([*(standing[:2] - distance * look), rng.uniform(0.9, 1.9)])
    aim = np.arctan2(place[2] - standing[2], distance)
    pitch = aim - np.radians(rng.normal(2.0, 1.5))  # room for the raised arm
    yaw, roll = np.radians(rng.normal(0.0, [2.0, 1.0]))
    angles = np.array([pitch, yaw, roll]) + np.radians(SWAY_DEG) * _sway(time, rng)
    readout = rng.uniform(*READOUT_S)
    joints = _at(dense, time)
    for _ in range(2):  # a line is read some time after the frame's own time
        pixels = _seen(joints, place, look, angles, focal)
        late = (pixels[..., 1] / HEIGHT - 0.5) * readout
        joints = _late(dense, time, late)
    own = joints - joints[:, list(CANONICAL_BODY.pair("hip"))].mean(axis=1, keepdims=True)
    pixels += _errors(time, rng, usual) * (focal * tall / distance)
    track = _track(time, pixels, _own_3d(own, time, look, tall, rng, usual))
    offset = float(rng.uniform(0.0, 3.0))
    moved = replace(track, time_s=track.time_s - track.time_s[0] + offset)
    return Filmed(moved, azimuth_deg % 360.0, offset - float(time[0]), look)


def _at(dense: Dense, time: Array) -> Array:
    flat = dense.joints.reshape(len(dense.joints), -1)
    i = np.clip(np.searchsorted(dense.time_s, time) - 1, 0, len(flat) - 2)
    share = ((time - dense.time_s[i]) / (dense.time_s[i + 1] - dense.time_s[i]))[:, None]
    return np.asarray(flat[i] * (1 - share) + flat[i + 1] * share).reshape(len(time), -1, 3)


def _late(dense: Dense, time: Array, late: Array) -> Array:
    """Joints, each at its own time: frames (T,) and delays (T, J)."""
    out = np.empty((*late.shape, 3))
    for j in range(late.shape[1]):
        for c in range(3):
            out[:, j, c] = np.interp(time + late[:, j], dense.time_s, dense.joints[:, j, c])
    return out


def _seen(joints: Array, place: Array, look: Array, angles: Array, focal: float) -> Array:
    right = np.array([look[1], -look[0], 0.0])
    level = np.stack([right, [*look, 0.0], [0.0, 0.0, 1.0]])
    x, y, z = np.moveaxis((joints - place) @ level.T, -1, 0)
    pitch, yaw, roll = angles.T[..., None]
    x, y = x * np.cos(yaw) - y * np.sin(yaw), x * np.sin(yaw) + y * np.cos(yaw)
    depth = y * np.cos(pitch) - z * np.sin(pitch)
    up = y * np.sin(pitch) + z * np.cos(pitch)
    u, v = focal * x / depth, focal * up / depth
    u, v = u * np.cos(roll) - v * np.sin(roll), u * np.sin(roll) + v * np.cos(roll)
    return np.stack([WIDTH / 2 + u, HEIGHT / 2 - v], axis=-1)


def _sway(time: Array, rng: np.random.Generator) -> Array:
    """Unit wandering about each axis, smooth, shape (T, 3)."""
    knots = np.arange(time[0] - SWAY_S, time[-1] + 2 * SWAY_S, SWAY_S)
    return np.asarray(CubicSpline(knots, rng.normal(size=(len(knots), 3)))(time))


def _kept(time: Array, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    memory = MEMORY ** (60.0 * float(np.median(np.diff(time))))
    noise = rng.normal(size=shape)
    for i in range(1, len(noise)):
        noise[i] = memory * noise[i - 1] + np.sqrt(1.0 - memory**2) * noise[i]
    return np.asarray(noise)


def _half() -> Array:
    """Standard deviation of the half of a landmark's variance, standing heights, (21, 1)."""
    sd = np.full(len(CANONICAL_BODY), LANDMARK_SD)
    sd[list(CANONICAL_BODY.pair("wrist"))] = WRIST_SD
    return np.asarray(sd[:, None] * np.sqrt(0.5))


def _errors(time: Array, rng: np.random.Generator, usual: Habit) -> Array:
    """Errors of landmarks in the picture, standing heights, (T, 21, 2)."""
    shape = (len(time), len(CANONICAL_BODY), 2)
    return np.asarray(usual.plane + _half() * _kept(time, shape, rng))


def _own_3d(
    own: Array, time: Array, look: Array, tall: float, rng: np.random.Generator, usual: Habit
) -> Array:
    """The network's own 3D: right, down, away, metres; depth drawn to the usual."""
    right = np.array([look[1], -look[0], 0.0])
    axes = np.stack([right, [0.0, 0.0, -1.0], [*look, 0.0]])
    out = own @ axes.T + tall * 0.02 * _kept(time, own.shape, rng)
    out[..., 2] += tall * (usual.depth + 0.03 * _kept(time, own.shape[:2], rng))
    out[..., 2] *= usual.flat
    return np.asarray(out)


def _track(time: Array, pixels: Array, own: Array) -> JointTrack:
    count = len(time)
    xy = np.full((count, len(LANDMARKS), 2), np.nan)
    world = np.full((count, len(LANDMARKS), 3), np.nan)
    sure = np.zeros((count, len(LANDMARKS)))
    for j, name in enumerate(CANONICAL_BODY):
        k = LANDMARKS.index(counterpart(name, left_handed=False))
        xy[:, k], world[:, k], sure[:, k] = pixels[:, j], own[:, j], 0.9
    return JointTrack(
        time_s=time,
        frame_index=np.arange(count),
        xy=xy,
        xy_raw=xy,
        confidence=sure,
        world=world,
        score=np.ones(count),
        disagreement_px=np.zeros((count, len(LANDMARKS))),
        width=WIDTH,
        height=HEIGHT,
        people=np.ones(count, dtype=int),
        sources={"drawn": np.concatenate([xy, sure[..., None]], axis=-1)},
    )


def repeated(dense: Dense, rng: np.random.Generator) -> Dense:
    """The same player's next serve: the movement in another tempo, limbs a little elsewhere.

    Stretches of the serve take 5 % more or less time, joint directions wander by about 2 % of
    stature (working values: what players repeat within a session is not closer, from memory).
    """
    rate = float(1.0 / np.median(np.diff(dense.time_s)))
    slow = gaussian_filter1d(rng.normal(size=len(dense.time_s)), 0.25 * rate, mode="nearest")
    slow = 0.05 * slow / slow.std()
    when = np.cumsum(1.0 + slow) / rate
    when = np.clip(when - when[0] + dense.time_s[0], 0.0, dense.time_s[-1])
    other = gaussian_filter1d(
        rng.normal(size=dense.joints.shape), 0.2 * rate, axis=0, mode="nearest"
    )
    other *= 0.02 * dense.stature_m / other.std()
    joints = _at(dense, when) + other
    events = {name: float(np.interp(t, when, dense.time_s)) for name, t in dense.events.items()}
    again = dense.name + "-again"
    return Dense(again, dense.time_s, joints, dense.ball, dense.stature_m, events)


def mixed(one: Dense, two: Dense, azimuths: tuple[float, float], rng: np.random.Generator) -> Pair:
    """Films of two serves by cameras at two places: no pair at all, or one seen badly."""
    return Pair(one, film(one, azimuths[0], rng), film(two, azimuths[1], rng))
