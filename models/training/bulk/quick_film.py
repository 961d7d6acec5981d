"""Renders the frames of a clip quickly: small pictures, everything of a chunk of frames at once.

What is drawn is what `rendered.film` draws (bodies, racket, ball, shadow, motion blur); light and
backdrop are the same code. Single precision and culled faces make it about twenty times cheaper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np

from models.training.bulk.look import Look
from models.training.rendered.backdrop import MARGIN, Backdrop
from models.training.rendered.body_mesh import bone_transforms
from models.training.rendered.camera import Camera
from models.training.rendered.cast import Actor
from models.training.rendered.clips import ClipSpec
from models.training.rendered.pose import Body, racket_points
from models.training.rendered.props import BALL_COLOUR, ball_mesh, racket_mesh, rolled
from models.training.rendered.rotation import Array

from .quick_raster import draw, lit, shadow, skinned

FINE = 2
"""Samples a pixel along each axis."""
BLUR_STEP, BLUR_MOST = 6.0, 4
"""Longest picture movement between sub-frames of a blurred frame, pixels, and the most of them."""
STREAK_MOST = 12
"""The most where the served ball flies: its streak must be one, not a row of balls."""
_CHUNK = 16
_MIRROR = np.array([1.0, -1.0, 1.0], np.float32)


@dataclass
class _Solid:
    """An actor's unchanging triangles in single precision."""

    actor: Actor
    vertices: np.ndarray
    weights: np.ndarray
    indices: np.ndarray
    faces: np.ndarray
    colours: np.ndarray

    @classmethod
    def of(cls, actor: Actor) -> _Solid:
        mesh = actor.outfit.worn(actor.mesh)
        flip = actor.performance.left_handed
        return cls(
            actor,
            mesh.vertices.astype(np.float32),
            mesh.weights.astype(np.float32),
            mesh.indices.astype(np.int64),
            np.ascontiguousarray(mesh.faces[:, ::-1] if flip else mesh.faces),
            actor.outfit.colours,
        )


@dataclass
class _Layer:
    """Triangles of one instant in the picture."""

    world: np.ndarray
    uv: np.ndarray
    depth: np.ndarray
    faces: np.ndarray
    colours: np.ndarray
    alpha: float
    cull: bool


@dataclass
class QuickFilm:
    """The frames of a clip, in order."""

    spec: ClipSpec
    actors: list[Actor]
    camera: Camera
    backdrop: Backdrop
    look: Look
    _solids: list[_Solid] = field(init=False)
    _behind: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self._solids = [_Solid.of(actor) for actor in self.actors]
        self._racket, self._ball = racket_mesh(), ball_mesh()
        self._sun = self.backdrop.sun.astype(np.float32)
        self._behind = self.look.toned(self.backdrop.picture, MARGIN)
        self._ground = self.backdrop.ground

    def frames(self, times: Array) -> Iterator[np.ndarray]:
        """Pictures (height, width, 3) RGB uint8 centred at times (T,)."""
        exposures = self._exposures(times)
        for start in range(0, len(times), _CHUNK):
            parts = exposures[start : start + _CHUNK]
            instants = np.concatenate(parts)
            layers = self._layers(instants)
            at = 0
            for k, part in enumerate(parts):
                yield self._frame(start + k, layers[at : at + len(part)])
                at += len(part)

    def _exposures(self, times: Array) -> list[Array]:
        """Instants averaged into each frame while the shutter is open."""
        shutter = self.spec.shutter
        if shutter <= 0.0:
            return [np.array([t]) for t in times]
        motion = self.actors[0].performance.motion
        ends = []
        for side in (-0.5, 0.5):
            body = motion.body(times + side * shutter)
            ends.append(self.camera.pixels(racket_points(motion.skeleton, body)[:, 2]))
        moved = np.linalg.norm(ends[1] - ends[0], axis=-1)
        most = np.full(len(times), BLUR_MOST)
        if self.spec.served is not None:
            flown = self._ball_moves(times, shutter)
            moved, most = np.maximum(moved, flown), np.where(flown > 0.0, STREAK_MOST, most)
        count = np.clip(np.ceil(moved / BLUR_STEP), 1, most).astype(int)
        return [
            t + shutter * ((np.arange(n) + 0.5) / n - 0.5)
            for t, n in zip(times, count, strict=True)
        ]

    def _ball_moves(self, times: Array, shutter: float) -> Array:
        """Pixels that the served ball moves in each exposure, (T,); 0 where it does not fly."""
        places = []
        for side in (-0.5, 0.5):
            balls = self.actors[0].performance.ball_at(times + side * shutter)
            flying = [b[0] if b is not None and b[1] == "flight" else [np.nan] * 3 for b in balls]
            places.append(self.camera.pixels(np.array(flying)))
        return np.asarray(np.nan_to_num(np.linalg.norm(places[1] - places[0], axis=-1)))

    def _layers(self, times: Array) -> list[list[_Layer]]:
        """What is in the picture at each instant; see-through things last."""
        solid: list[list[_Layer]] = [[] for _ in times]
        clear: list[list[_Layer]] = [[] for _ in times]
        for base in self._solids:
            actor = base.actor
            body = actor.performance.motion.body(times)
            transforms = bone_transforms(actor.mesh, body).astype(np.float32)
            balls = actor.performance.ball_at(times)
            for i in range(len(times)):
                skin = skinned(base.vertices, base.weights, base.indices, transforms[i])
                solid[i].append(self._layer(actor, skin, base.faces, base.colours))
                if actor.performance.racket:
                    self._add_racket(actor, body, i, solid[i], clear[i])
                seen = balls[i]
                if seen is not None:
                    points, faces = self._ball
                    colours = np.tile(BALL_COLOUR, (len(faces), 1))
                    placed = (seen[0] + points).astype(np.float32)
                    solid[i].append(self._layer(actor, placed, faces, colours, mirrored=True))
        return [a + b for a, b in zip(solid, clear, strict=True)]

    def _add_racket(
        self, actor: Actor, body: Body, i: int, solid: list[_Layer], clear: list[_Layer]
    ) -> None:
        frame, faces, colours, bed, fan = self._racket
        butt = racket_points(actor.mesh.skeleton, body)[i, 0]
        turn = body.frames["racket"][i] @ np.diag([-1.0, 1.0, -1.0])
        grey = np.full((len(fan), 3), 0.75, np.float32)
        for points, triangles, tint, alpha, into in (
            (frame, faces, colours, 1.0, solid),
            (bed, fan, grey, 0.22, clear),
        ):
            placed = (butt + rolled(points, actor.grip) @ turn.T).astype(np.float32)
            into.append(self._layer(actor, placed, triangles, tint, alpha, mirrored=True))

    def _layer(
        self,
        actor: Actor,
        world: np.ndarray,
        faces: np.ndarray,
        colours: np.ndarray,
        alpha: float = 1.0,
        *,
        mirrored: bool = False,
    ) -> _Layer:
        """Place triangles as filmed. Bodies are closed and come with their faces turned already;
        `mirrored` things are small and drawn from both sides.
        """
        if actor.performance.left_handed:
            world = world * _MIRROR
        world = world + actor.offset.astype(np.float32)
        seen = self.camera.to_camera(world)
        uv = self.camera.pixels(world)
        depth = np.ascontiguousarray(seen[:, 2], dtype=np.float32)
        cull = not mirrored
        return _Layer(world, uv.astype(np.float32), depth, faces, colours, alpha, cull)

    def _frame(self, index: int, moments: list[list[_Layer]]) -> np.ndarray:
        camera = self.camera
        width, height = camera.width, camera.height
        shift = np.zeros(2) if camera.jitter is None else camera.jitter[index]
        picture = self._still(self._behind, shift)
        corners = [layer.uv[layer.depth > 0.2] + shift for moment in moments for layer in moment]
        found = np.vstack([c for c in corners if len(c)])
        found = found[(np.abs(found) < 4000).all(axis=1)]
        if len(found):
            low = np.clip(np.floor(found.min(0)) - 2, 0, [width - 4, height - 4]).astype(int)
            high = np.clip(np.ceil(found.max(0)) + 2, low + 2, [width, height]).astype(int)
            self._darken(picture, moments[len(moments) // 2], shift)
            self._compose(picture, moments, shift, low, high)
        return self.look.finished(picture)

    def _still(self, image: np.ndarray, shift: Array) -> np.ndarray:
        size = (self.camera.width, self.camera.height)
        if not shift.any():
            return image[MARGIN : MARGIN + size[1], MARGIN : MARGIN + size[0]].copy()
        move = np.array([[1, 0, shift[0] - MARGIN], [0, 1, shift[1] - MARGIN]], np.float64)
        out: np.ndarray = cv2.warpAffine(image, move, size, borderMode=cv2.BORDER_REPLICATE)
        return out

    def _compose(
        self,
        picture: np.ndarray,
        moments: list[list[_Layer]],
        shift: Array,
        low: np.ndarray,
        high: np.ndarray,
    ) -> None:
        size = (int(high[1] - low[1]) * FINE, int(high[0] - low[0]) * FINE)
        total: np.ndarray | None = None
        place = (shift - low).astype(np.float32)
        for moment in moments:
            depth = np.zeros(size, np.float32)
            rgba = np.zeros((*size, 4), np.float32)
            for layer in moment:
                light = lit(
                    layer.world,
                    layer.faces,
                    self._sun,
                    np.float32(self.backdrop.ambient),
                    np.float32(self.backdrop.direct),
                )
                uv = (layer.uv + place) * np.float32(FINE)
                draw(
                    uv,
                    layer.depth,
                    layer.faces,
                    light,
                    layer.colours,
                    depth,
                    rgba,
                    np.float32(layer.alpha),
                    layer.cull,
                )
            total = rgba if total is None else total + rgba
        assert total is not None
        size_px = (size[1] // FINE, size[0] // FINE)
        small = cv2.resize(total / len(moments), size_px, interpolation=cv2.INTER_AREA)
        box = (slice(low[1], high[1]), slice(low[0], high[0]))
        under = picture[box].astype(np.float32)
        mixed = under * (1.0 - small[..., 3:]) + self.look.toned_layer(small, box)
        picture[box] = np.clip(mixed + 0.5, 0, 255).astype(np.uint8)

    def _darken(self, picture: np.ndarray, moment: list[_Layer], shift: Array) -> None:
        """The shadow of everything solid on the ground."""
        camera, sun = self.camera, self._sun
        height, width = picture.shape[:2]
        placed = []
        for layer in moment:
            if layer.alpha < 1.0:
                continue
            flat = layer.world - layer.world[:, 2:] * (sun / sun[2])
            if (camera.to_camera(flat)[:, 2] > 0.3).all():
                placed.append((camera.pixels(flat) + shift, layer.faces))
        if not placed:
            return
        ends = np.array([(uv.min(0), uv.max(0)) for uv, _ in placed])
        low = np.clip(np.floor(ends[:, 0].min(0)) - 3, 0, [width - 1, height - 1]).astype(int)
        high = np.clip(np.ceil(ends[:, 1].max(0)) + 3, low + 1, [width, height]).astype(int)
        mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
        for uv, faces in placed:
            shadow((uv - low).astype(np.float32), faces, mask)
        box = (slice(low[1], high[1]), slice(low[0], high[0]))
        inner = tuple(slice(s.start + MARGIN, s.stop + MARGIN) for s in box)
        soft = cv2.GaussianBlur(mask, (0, 0), 1.2).astype(np.float32) / 255.0
        soft *= self._ground[inner] * (0.22 if self.spec.background == "indoor" else 0.42)
        picture[box] = (picture[box] * (1.0 - soft[..., None])).astype(np.uint8)
