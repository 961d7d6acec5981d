"""A movement as a film shows it: projected, sampled, blurred by what networks and trackers miss.

Figures of noise are those of the project's own films: landmarks of two networks on rendered and
laboratory films (1 to 2 % of stature, kept from frame to frame), sightings of the ball on thirteen
rendered films (97 % of a toss seen, 0.4 px off, half of it near the racket).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.skeleton import CANONICAL_BODY
from models.contract.tracks import BodyMotion
from workers.engine.ball import Things, find_toss
from workers.engine.evidence import SOUND_M_S, SYNC_SD_S, Evidence
from workers.engine.witness import Witness, from_paths

from .dense import RATE, Array, Dense

LANDMARK_SD, WRIST_SD = 0.012, 0.018
"""Of a landmark in the picture, standing heights."""
MEMORY = 0.85
"""Correlation of a landmark's error from frame to frame at 60 frames per second."""
BODY_SD_M = 0.03
"""Of a fitted joint in space, metres."""
BALL_SEEN, BALL_HIDDEN, STRUCK_SEEN = 0.95, 0.5, 0.7
"""Shares of frames in which the tossed ball is seen, near the racket, and after contact."""
BALL_SD = 0.002
"""Of a sighting, standing heights."""
CLUTTER = 8
"""Other things a frame."""
LEAD_S = 0.4
"""What the engine takes before the end of the stance, seconds."""


@dataclass(frozen=True)
class Shown:
    """What the engine's events are read from, and what is true."""

    motion: BodyMotion
    witness: Witness
    evidence: Evidence | None
    film: tuple[float, float]
    events: dict[str, float]
    step_s: float


def show(dense: Dense, fps: float, rng: np.random.Generator, *, ball: bool, sound: bool) -> Shown:
    """Film a movement once: a random camera, phase, and noise of its own."""
    start = max(dense.events["set_up"] - LEAD_S, 0.0)
    end = min(dense.events["finish"] + 0.3, float(dense.time_s[-1]))
    time = np.arange(start + rng.uniform(0.0, 1.0 / fps), end, 1.0 / fps)
    joints = _at(dense.time_s, dense.joints, time)
    camera = _camera(joints, rng)
    tall = dense.stature_m
    plane = camera.seen(joints) + _noise(time, rng)
    paths = {name: plane[:, CANONICAL_BODY.index(name)] for name in CANONICAL_BODY.names}
    noisy = joints + BODY_SD_M * _kept(time, joints.shape, rng)
    motion = BodyMotion(
        time_s=time,
        frame_index=np.arange(len(time)),
        joints=noisy,
        sd=np.full(joints.shape, BODY_SD_M),
        mirrored=False,
        stature_m=tall,
        method="kinematic_fit",
    )
    evidence = _evidence(dense, time, camera, plane, rng, ball=ball, sound=sound)
    film = (float(time[0]), float(time[-1]))
    return Shown(motion, from_paths(time, paths), evidence, film, dense.events, 1.0 / fps)


@dataclass(frozen=True)
class _Camera:
    place: Array
    axes: Array
    tall_m: float
    distance_m: float

    def seen(self, points: Array) -> Array:
        """Points (..., 3) in the picture, standing heights, v up."""
        level = (points - self.place) @ self.axes.T
        return np.asarray(level[..., [0, 2]] / level[..., 1:2] * self.distance_m / self.tall_m)


def _camera(joints: Array, rng: np.random.Generator) -> _Camera:
    azimuth, distance = np.radians(rng.uniform(-5.0, 200.0)), rng.uniform(5.0, 12.0)
    middle = joints.mean(axis=(0, 1))
    away = -np.array([np.cos(azimuth), -np.sin(azimuth), 0.0])
    place = middle - distance * away
    place[2] = rng.uniform(0.8, 2.0)
    axes = np.stack([[away[1], -away[0], 0.0], away, [0.0, 0.0, 1.0]])
    tall = float(joints[..., 2].max(axis=1)[0]) * 1.07
    return _Camera(place, axes, tall, distance)


def _at(grid: Array, values: Array, time: Array) -> Array:
    i = np.clip(((time - grid[0]) * RATE).astype(int), 0, len(grid) - 2)
    share = (time - grid[i]) * RATE
    share = share.reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(values[i] * (1.0 - share) + values[i + 1] * share)


def _kept(time: Array, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    """Noise of unit standard deviation that keeps from frame to frame."""
    memory = MEMORY ** (60.0 * float(np.median(np.diff(time))))
    noise: Array = rng.normal(size=shape)
    for i in range(1, len(noise)):
        noise[i] = memory * noise[i - 1] + np.sqrt(1.0 - memory**2) * noise[i]
    return np.asarray(noise)


def _noise(time: Array, rng: np.random.Generator) -> Array:
    sd = np.full(len(CANONICAL_BODY), LANDMARK_SD)
    sd[list(CANONICAL_BODY.pair("wrist"))] = WRIST_SD
    return np.asarray(_kept(time, (len(time), len(CANONICAL_BODY), 2), rng) * sd[:, None])


def _evidence(
    dense: Dense,
    time: Array,
    camera: _Camera,
    plane: Array,
    rng: np.random.Generator,
    *,
    ball: bool,
    sound: bool,
) -> Evidence | None:
    if not ball and not sound:
        return None
    shoulders = plane[:, list(CANONICAL_BODY.pair("shoulder"))].mean(axis=(0, 1))
    top = float(rng.uniform(0.5, 1.6))
    things = _things(dense, time, camera, plane - shoulders, shoulders, top, rng) if ball else None
    contact, delay = dense.events["contact"], camera.distance_m / SOUND_M_S
    guessed = camera.distance_m * float(np.exp(rng.normal(0.0, 0.25)))
    heard = list(rng.uniform(time[0], time[-1], rng.poisson(0.5 * (time[-1] - time[0]))))
    loud = list(rng.uniform(9.0, 25.0, len(heard)))
    if sound and rng.random() < 0.85:
        heard.append(contact + delay + rng.normal(0.0, SYNC_SD_S / 2.0))
        loud.append(float(rng.uniform(12.0, 30.0)))
    delay_sd = float(np.hypot(0.3 * guessed / SOUND_M_S, SYNC_SD_S))
    return Evidence(
        toss=None if things is None else find_toss(things, dense.stature_m),
        things=things,
        top=top,
        heard_s=np.array(heard if sound else []),
        heard_db=np.array(loud if sound else []),
        delay_s=guessed / SOUND_M_S,
        delay_sd_s=delay_sd,
        step_s=float(np.median(np.diff(time))),
    )


def _things(
    dense: Dense,
    time: Array,
    camera: _Camera,
    body: Array,
    origin: Array,
    top: float,
    rng: np.random.Generator,
) -> Things:
    release, contact = dense.events["release"], dense.events["contact"]
    step = float(np.median(np.diff(time)))
    place = camera.seen(_at(dense.time_s, dense.ball, time)) - origin
    rows, xy, half, score = [], [], [], []
    for i, t in enumerate(time[1:-1], 1):
        toss = release + 0.01 < t < contact
        odds = BALL_HIDDEN if contact - t < max(0.02, step) else BALL_SEEN
        odds = odds if toss else STRUCK_SEEN if t > contact else 0.2
        if np.isfinite(place[i]).all() and place[i, 1] < top and rng.random() < odds:
            rows.append(i)
            xy.append(place[i] + rng.normal(0.0, BALL_SD, 2))
            half.append((place[i + 1] - place[i - 1]) * rng.uniform(0.0, 0.25))
            score.append(rng.uniform(25.0, 80.0))
        for _ in range(CLUTTER):
            rows.append(i)
            xy.append(body[i, rng.integers(body.shape[1])] + rng.normal(0.0, 0.05, 2))
            half.append(rng.normal(0.0, 0.02, 2))
            score.append(rng.uniform(14.0, 50.0))
    return Things(
        time_s=time[rows],
        frame=np.array(rows),
        xy=np.array(xy),
        half=np.nan_to_num(np.array(half)),
        score=np.array(score),
        looked_s=time[1:-1],
        px=float(rng.uniform(200.0, 600.0)),
    )
