"""What stands still behind the player: court with lines and net, fence or hall, sky.

Court lines after the ITF Rules of Tennis: baseline at x = 0, net 11.885 m away, service line 6.40 m
from the net, singles and doubles side lines at 4.115 and 5.485 m, net 0.914 m high at the centre.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .camera import Camera
from .raster import Image
from .rotation import Array, unit

#: colours of (outside, inside) the court lines
COURTS = (
    ((0.13, 0.42, 0.27), (0.12, 0.24, 0.60)),
    ((0.62, 0.28, 0.19), (0.13, 0.45, 0.30)),
    ((0.16, 0.27, 0.45), (0.33, 0.24, 0.52)),
    ((0.72, 0.42, 0.28), (0.72, 0.42, 0.28)),
)
NET_X, SERVICE_X, SINGLES, DOUBLES = 11.885, 5.485, 4.115, 5.485
#: the surroundings: walls or hedges at these planes, metres
_BOX_X, _BOX_Y = (-6.5, 30.3), (-9.3, 9.3)
MARGIN = 12  # pixels around the picture, for camera unrest


@dataclass(frozen=True)
class Backdrop:
    """Still picture with a margin, its ground mask, and the light."""

    picture: Image
    ground: Image
    sun: Array
    ambient: float
    direct: float


def _noise(rng: np.random.Generator, u: Array, v: Array, cell: float) -> Image:
    """Smooth value noise in 0..1 at coordinates u, v (metres), features of about `cell` metres."""
    field = rng.random((256, 256)).astype(np.float32)
    x = np.mod(u / cell, 256).astype(np.float32)
    y = np.mod(v / cell, 256).astype(np.float32)
    out: Image = cv2.remap(field, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)
    return out


def _lines(x: Array, y: Array) -> np.ndarray:
    """Mask of the white lines on the ground."""
    inside = np.abs(y) <= DOUBLES
    depth = (x > -0.1) & (x < 2 * NET_X + 0.1)
    far = np.minimum(x, 2 * NET_X - x)
    mask = inside & (np.abs(far - 0.0) < 0.05)
    mask |= depth & ((np.abs(np.abs(y) - SINGLES) < 0.025) | (np.abs(np.abs(y) - DOUBLES) < 0.025))
    mask |= (np.abs(far - SERVICE_X) < 0.025) & (np.abs(y) < SINGLES)
    mask |= (far > SERVICE_X) & depth & (np.abs(y) < 0.025)
    mask |= (np.abs(y) < 0.025) & (far > 0) & (far < 0.15)
    return mask


def make_backdrop(
    camera: Camera, kind: str, backlight: bool, rng: np.random.Generator, factor: int = 2
) -> Backdrop:
    """Draw the still background of a clip; `kind` is court, fence or indoor.

    `factor` squared samples a pixel; with one, in single precision, it costs a sixth.
    """
    exact = np.float64 if factor > 1 else np.float32
    width, height = camera.width + 2 * MARGIN, camera.height + 2 * MARGIN
    u = (np.arange(width * factor) + 0.5) / factor - MARGIN
    v = (np.arange(height * factor) + 0.5) / factor - MARGIN
    uu, vv = np.meshgrid(u, v)
    rays = camera.rays(np.stack([uu, vv], axis=-1))
    rays = (rays @ camera.rotation).astype(exact)
    origin = camera.position.astype(exact)
    t_wall, along = _walls(origin, rays)
    with np.errstate(divide="ignore"):
        t_floor = np.where(
            rays[..., 2] < -1e-6, -origin[2] / np.minimum(rays[..., 2], -1e-9), np.inf
        )
    x, y = origin[0] + t_floor * rays[..., 0], origin[1] + t_floor * rays[..., 1]
    ground = t_floor < t_wall
    picture = np.zeros((*uu.shape, 3), np.float32)
    outside, inner = COURTS[int(rng.integers(len(COURTS)))]
    xs, ys = np.where(ground, x, 0.0), np.where(ground, y, 0.0)
    court = (np.abs(ys) < DOUBLES) & (xs > 0) & (xs < 2 * NET_X)
    floor = np.where(court[..., None], np.array(inner), np.array(outside)).astype(np.float32)
    grain = 0.90 + 0.12 * _noise(rng, xs, ys, 0.9) + 0.08 * _noise(rng, xs, ys, 0.12)
    floor *= grain[..., None]
    floor[_lines(xs, ys)] = 0.92
    z = origin[2] + t_wall * rays[..., 2]
    wall = _wall_colour(kind, along, z, rays, rng)
    picture = np.where(ground[..., None], floor, wall).astype(np.float32)
    _net(picture, origin, rays, np.minimum(t_floor, t_wall))
    picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    mask = cv2.resize(ground.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    sun, ambient, direct = _light(camera, kind, backlight, rng)
    if backlight:
        picture = np.clip(picture * 1.25 + 0.08, 0, 1)
    return Backdrop(picture, mask, sun, ambient, direct)


def _walls(origin: Array, rays: Array) -> tuple[Array, Array]:
    """Distance along each ray to the far side of the surroundings, and the place on that wall."""
    best = np.full(rays.shape[:2], np.inf)
    along = np.zeros(rays.shape[:2])
    for axis, planes, other in ((0, _BOX_X, 1), (1, _BOX_Y, 0)):
        for plane, outward in zip(planes, (-1.0, 1.0), strict=True):
            toward = rays[..., axis] * outward
            gap = (plane - origin[axis]) * outward
            hit = np.where((toward > 1e-6) & (gap > 0), gap / np.maximum(toward, 1e-9), np.inf)
            closer = hit < best
            best = np.where(closer, hit, best)
            reach = origin[other] + np.where(closer, hit, 0.0) * rays[..., other]
            along = np.where(closer, reach + 40.0 * axis, along)
    return np.minimum(best, 400.0), along


def _wall_colour(kind: str, along: Array, z: Array, rays: Array, rng: np.random.Generator) -> Image:
    """Colour of whatever stands behind the court, and of the sky over it."""
    direction = rays / np.linalg.norm(rays, axis=-1, keepdims=True)
    lift = np.clip(direction[..., 2], 0, 1)
    sky = np.stack([0.62 - 0.25 * lift, 0.74 - 0.18 * lift, 0.92 - 0.06 * lift], axis=-1)
    bearing = np.arctan2(direction[..., 1], direction[..., 0])
    cloud = np.clip(_noise(rng, bearing * 9, lift * 40, 1.0) * 1.6 - 0.9, 0, 1)
    sky = (sky + 0.25 * cloud[..., None]).astype(np.float32)
    if kind == "indoor":
        wall = np.array([0.62, 0.60, 0.55]) * (0.92 + 0.08 * _noise(rng, along, z, 1.4))[..., None]
        curtain = (
            np.array([0.10, 0.22, 0.18])
            * (0.85 + 0.25 * _noise(rng, along, z * 0.1, 0.25))[..., None]
        )
        post = (np.mod(along, 5.0) < 0.12)[..., None]
        wall = np.where((z < 2.6)[..., None], curtain, np.where(post, 0.35, wall))
        lamp = (z > 6.0) & (np.mod(along, 3.0) < 1.1)
        return np.where(lamp[..., None], 0.97, wall).astype(np.float32)
    top = 3.6 + 0.9 * _noise(rng, along, 0 * z, 1.7) + 0.35 * _noise(rng, along, 0 * z, 0.4)
    leaf = 0.4 + 0.5 * _noise(rng, along, z, 0.05) + 0.4 * _noise(rng, along, z, 0.17)
    leaves = np.array([0.14, 0.27, 0.10]) * (leaf + 0.4 * _noise(rng, along, z, 0.9))[..., None]
    screen = np.array([0.08, 0.13, 0.12]) if kind == "fence" else np.array([0.10, 0.22, 0.14])
    cloth = screen * (0.9 + 0.2 * _noise(rng, along, z, 0.6))[..., None]
    wires = ((np.mod(along + z, 0.12) < 0.014) | (np.mod(along - z, 0.12) < 0.014)) & (z < 3.2)
    posts = (np.mod(along, 3.0) < 0.07) & (z < 3.2)
    out = np.where((z < (2.0 if kind == "fence" else 1.1))[..., None], cloth, leaves)
    out = np.where((z > top)[..., None], sky, out)
    if kind == "fence":
        out = np.where(wires[..., None], 0.55 * out + 0.18, out)
    return np.where(posts[..., None], 0.25, out).astype(np.float32)


def _net(picture: Image, origin: Array, rays: Array, nearest: Array) -> None:
    """Draw the net over the picture where nothing nearer hides it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (NET_X - origin[0]) / rays[..., 0]
    y, z = origin[1] + t * rays[..., 1], origin[2] + t * rays[..., 2]
    top = 0.914 + 0.156 * np.abs(y) / 6.4
    seen = (t > 0) & (t < nearest) & (np.abs(y) < 6.4) & (z > 0) & (z < top)
    tape = seen & (z > top - 0.06)
    cord = seen & ~tape
    picture[cord] = 0.45 * picture[cord] + 0.02
    picture[tape] = 0.9


def _light(
    camera: Camera, kind: str, backlight: bool, rng: np.random.Generator
) -> tuple[Array, float, float]:
    if kind == "indoor":
        return unit(np.array([0.2, -0.15, 1.0])), 0.62, 0.42
    forward = camera.rotation[2]
    if backlight:
        ahead = unit(np.array([forward[0], forward[1], 0.0]))
        return unit(ahead + np.array([0.0, 0.0, 0.7])), 0.34, 0.65
    angle = float(rng.uniform(0, 2 * np.pi))
    sun = np.array([np.cos(angle), np.sin(angle), 0.0]) * 0.7 - 0.5 * np.array(
        [forward[0], forward[1], 0.0]
    )
    return unit(sun + np.array([0.0, 0.0, float(rng.uniform(0.8, 1.5))])), 0.52, 0.58
