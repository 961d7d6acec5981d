"""Pinhole cameras around the player.

Azimuth is seen from the player: 0 = from the net, 90 = facing the chest of the side-on stance (for
either hand), 180 = from behind, 270 = facing the back. Pixel coordinates have their origin at the
top-left corner of the top-left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .rotation import Array, unit

CONVENTION = (
    "x_cam = R @ X_world + t; pixel = K @ x_cam / z; "
    "origin = top-left corner of the top-left pixel (pixel centres at .5)"
)


def view_label(azimuth: float) -> str:
    """Name of the camera position."""
    a = azimuth % 360.0
    if a > 180.0:
        return "back-side" if 195.0 < a < 345.0 else ("behind" if a <= 195.0 else "front")
    for limit, name in (
        (15.0, "front"),
        (72.0, "front-quarter"),
        (108.0001, "side"),
        (165.0, "rear-quarter"),
    ):
        if a < limit:
            return name
    return "behind"


#: square of the largest tangent off the axis that is distorted as the polynomial says (63 deg)
_WIDEST = 4.0


@dataclass(frozen=True)
class Camera:
    """A fixed pinhole camera; `jitter` (T, 2) are pixel shifts of each frame (hand-held unrest)."""

    width: int
    height: int
    focal: float
    rotation: Array
    position: Array
    azimuth: float
    distance: float
    jitter: Array | None = field(default=None)
    k1: float = (
        0.0  # radial distortion of the lens: radius times 1 + k1 r^2, r over the focal length
    )

    @property
    def k(self) -> Array:
        """Intrinsic matrix."""
        return np.array(
            [[self.focal, 0, self.width / 2], [0, self.focal, self.height / 2], [0, 0, 1.0]]
        )

    def to_camera(self, x: Array) -> Array:
        """World points (..., 3) in camera axes (right, down, forward)."""
        return (x - self.position) @ self.rotation.T

    def pixels(self, x: Array) -> Array:
        """World points (..., 3) -> pixels (..., 2) of the unshaken camera."""
        c = self.to_camera(x)
        depth = np.where(np.abs(c[..., 2]) < 1e-3, 1e-3, c[..., 2])
        ray = c[..., :2] / depth[..., None]
        if self.k1:
            # Beyond the lens' field the polynomial folds back; nothing there is in the picture.
            square = np.minimum(np.sum(ray**2, axis=-1, keepdims=True), _WIDEST)
            ray = ray * (1.0 + self.k1 * square)
        return np.asarray(self.focal * ray + np.array([self.width / 2, self.height / 2]))

    def rays(self, uv: Array) -> Array:
        """Viewing directions (..., 3) in camera axes, depth one, of pixels (..., 2)."""
        seen = (uv - np.array([self.width / 2, self.height / 2])) / self.focal
        ray = seen
        if self.k1:
            # r (1 + k1 r^2) = distorted radius, by Newton's method on the radius alone
            wanted = np.linalg.norm(seen, axis=-1)
            radius = wanted.copy()
            for _ in range(6):
                slope = np.maximum(1.0 + 3.0 * self.k1 * radius**2, 0.1)
                radius -= (radius * (1.0 + self.k1 * radius**2) - wanted) / slope
                radius = np.clip(radius, 0.0, np.sqrt(_WIDEST))
            ray = seen * (radius / np.maximum(wanted, 1e-9))[..., None]
        return np.concatenate([ray, np.ones((*ray.shape[:-1], 1))], axis=-1)

    def project(self, x: Array) -> Array:
        """World points (T, ..., 3) -> pixels (T, ..., 2), each frame shifted by its jitter."""
        uv = self.pixels(x)
        if self.jitter is not None:
            uv = uv + self.jitter.reshape((len(self.jitter),) + (1,) * (uv.ndim - 2) + (2,))
        return np.asarray(uv)

    def describe(self) -> dict[str, object]:
        """The camera block of the truth."""
        return {
            "K": self.k.tolist(),
            "R": self.rotation.tolist(),
            "t": (-self.rotation @ self.position).tolist(),
            "position": self.position.tolist(),
            "azimuth_deg": self.azimuth,
            "height_m": float(self.position[2]),
            "distance_m": self.distance,
            "vfov_deg": float(np.degrees(2 * np.arctan(self.height / 2 / self.focal))),
            "view": view_label(self.azimuth),
            "chest_side": self.azimuth % 360.0 <= 180.0,
            "convention": CONVENTION,
        } | ({"k1": self.k1} if self.k1 else {})


def look_at(position: Array, target: Array, roll: float) -> Array:
    """Rotation world -> camera (rows right, down, forward); positive roll tips the camera
    clockwise.
    """
    forward = unit(target - position)
    right = unit(np.cross(forward, np.array([0.0, 0.0, 1.0])))
    down = np.cross(forward, right)
    a = np.radians(roll)
    return np.stack(
        [np.cos(a) * right + np.sin(a) * down, -np.sin(a) * right + np.cos(a) * down, forward]
    )


@dataclass(frozen=True)
class CameraSpec:
    """What is asked of a camera; `fill` is the share of the frame height taken by `tall` metres."""

    azimuth: float = 90.0
    height: float = 1.4
    distance: float = 8.0
    roll: float = 0.0
    fill: float = 0.92
    tall: float = 3.1
    floor: float = -0.25  # lowest point framed, metres; above the ankles the feet are cut off
    shift: float = 0.0  # sideways shift of the aim, share of the frame width
    rise: float = 0.0  # upward shift of the aim, share of the frame height
    k1: float = 0.0  # radial distortion, see `Camera`
    jitter: float = 0.0  # pixels
    jitter_seed: int = 0


def make_camera(
    spec: CameraSpec, body: Array, mirrored: bool, size: tuple[int, int], frames: int
) -> Camera:
    """Camera aimed at a body standing at `body` (3,), the framing held whatever the distance."""
    width, height = size
    a = np.radians(spec.azimuth)
    side = -1.0 if mirrored else 1.0
    position = np.array(
        [
            body[0] + spec.distance * np.cos(a),
            body[1] - side * spec.distance * np.sin(a),
            spec.height,
        ]
    )
    middle = np.array([body[0], body[1], spec.floor + spec.tall / 2])
    ray = float(np.linalg.norm(middle - position))
    focal = spec.fill * height * ray / spec.tall
    if width < height:  # portrait: the width decides, a serve needs about 2.2 m of it
        focal = min(focal, width * ray / 2.2)
    rotation = look_at(position, middle, spec.roll)
    aim = middle - rotation[0] * spec.shift * width / focal * ray
    aim = aim - rotation[1] * spec.rise * height / focal * ray
    jitter: Array | None = None
    if spec.jitter:
        rng = np.random.default_rng(spec.jitter_seed)
        t = np.linspace(0, 1, frames)[:, None]
        waves = [
            rng.normal(0, 1, 2) * np.sin(2 * np.pi * (f * t + rng.random(2)))
            for f in (0.6, 1.7, 4.3)
        ]
        jitter = spec.jitter / 1.2 * np.sum(waves, axis=0)
    return Camera(
        width,
        height,
        focal,
        look_at(position, aim, spec.roll),
        position,
        spec.azimuth,
        spec.distance,
        jitter,
        spec.k1,
    )
