"""Films a performance: body mesh, racket, ball, background, light, blur, noise, compression."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from models.contract.skeleton import KEYPOINTS

from .backdrop import MARGIN, Backdrop, make_backdrop
from .body_mesh import bone_transforms, skin, surface_joints, volume_centre
from .camera import Camera
from .cast import Actor, cast, day_of
from .clips import ClipSpec, aim_camera, frame_times
from .encode import Encoder
from .performance import Performance
from .pose import racket_points
from .profiles import draw_clip
from .props import BALL_COLOUR, ball_mesh, racket_mesh, rolled
from .raster import Canvas, Image, coverage, vertex_normals
from .rotation import Array
from .truth import clip_truth, event_times, mirror
from .truth_file import clip_notes, write_truth

#: longest picture movement between sub-frames of a blurred frame, pixels, and the most sub-frames
_BLUR_STEP, _BLUR_MOST = 3.0, 8
#: the most where the speed of the ball is asked
_STREAK_MOST = 16


@dataclass(frozen=True)
class Shape:
    """Triangles ready to draw: world vertices, faces, face colours, opacity."""

    vertices: Array
    faces: np.ndarray
    colours: Image
    alpha: float = 1.0


class Scenery:
    """Everything in front of the camera."""

    def __init__(self, spec: ClipSpec, actors: list[Actor], camera: Camera, backdrop: Backdrop):
        self.spec, self.actors, self.camera, self.backdrop = spec, actors, camera, backdrop
        self.racket = racket_mesh()
        self.ball = ball_mesh()

    def shapes(self, t: float) -> list[Shape]:
        """All solids at one instant; see-through ones last."""
        solid: list[Shape] = []
        clear: list[Shape] = []
        for actor in self.actors:
            body = actor.performance.motion.body(np.array([t]))
            dressed = actor.outfit.worn(actor.mesh)
            parts = [
                Shape(
                    skin(dressed, bone_transforms(actor.mesh, body)[0]),
                    dressed.faces,
                    actor.outfit.colours,
                )
            ]
            if actor.performance.racket:
                frame, faces, colours, bed, fan = self.racket
                butt = racket_points(actor.mesh.skeleton, body)[0, 0]
                turn = body.frames["racket"][0] @ np.diag([-1.0, 1.0, -1.0])
                parts.append(Shape(butt + rolled(frame, actor.grip) @ turn.T, faces, colours))
                strings = np.full((len(fan), 3), 0.75, np.float32)
                clear.append(
                    self._placed(
                        actor, Shape(butt + rolled(bed, actor.grip) @ turn.T, fan, strings, 0.22)
                    )
                )
            ball = actor.performance.ball_at(np.array([t]))[0]
            if ball is not None:
                vertices, faces = self.ball
                colours = np.tile(BALL_COLOUR, (len(faces), 1))
                parts.append(Shape(ball[0] + vertices, faces, colours))
            solid += [self._placed(actor, p) for p in parts]
        return solid + clear

    @staticmethod
    def _placed(actor: Actor, shape: Shape) -> Shape:
        if not actor.performance.left_handed:
            return replace(shape, vertices=shape.vertices + actor.offset)
        return replace(
            shape, vertices=mirror(shape.vertices) + actor.offset, faces=shape.faces[:, ::-1].copy()
        )

    def layer(self, t: float, shift: Array) -> tuple[Image, tuple[int, int], Image]:
        """Premultiplied RGBA of the solids, its top-left pixel, and the frame's shadow mask."""
        camera, light = self.camera, self.backdrop
        shapes = self.shapes(t)
        placed = []
        for shape in shapes:
            seen = camera.to_camera(shape.vertices)
            depth = np.where(seen[:, 2] > 0.2, seen[:, 2], 0.1)
            placed.append((camera.pixels(shape.vertices) + shift, depth))
        visible = [uv[(d > 0.2) & (np.abs(uv) < 4000).all(1)] for uv, d in placed]
        corners = np.vstack([v for v in visible if len(v)])
        low = np.clip(
            np.floor(corners.min(0)) - 2, 0, [camera.width - 4, camera.height - 4]
        ).astype(int)
        high = np.clip(np.ceil(corners.max(0)) + 2, low + 2, [camera.width, camera.height]).astype(
            int
        )
        canvas = Canvas(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
        shadow = np.zeros((camera.height, camera.width), np.float32)
        for shape, (uv, depth) in zip(shapes, placed, strict=True):
            normals = vertex_normals(shape.vertices, shape.faces)
            shade = (
                light.ambient
                + 0.10 * normals[:, 2]
                + light.direct * np.maximum(0.0, normals @ light.sun)
            )
            canvas.draw(uv, depth, shape.faces, shade, shape.colours, shape.alpha)
            if shape.alpha >= 1.0:
                self._shadow(shadow, shape, shift)
        return canvas.resolve(), (int(low[0]), int(low[1])), shadow

    def _shadow(self, shadow: Image, shape: Shape, shift: Array) -> None:
        sun, camera = self.backdrop.sun, self.camera
        flat = shape.vertices - shape.vertices[:, 2:] * (sun / sun[2])
        seen = camera.to_camera(flat)
        if (seen[:, 2] < 0.3).any():
            return
        uv = camera.pixels(flat) + shift
        low = np.clip(np.floor(uv.min(0)), 0, [camera.width - 1, camera.height - 1]).astype(int)
        high = np.clip(np.ceil(uv.max(0)), low + 1, [camera.width, camera.height]).astype(int)
        mask = coverage(
            uv, shape.faces, int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])
        )
        window = shadow[low[1] : high[1], low[0] : high[0]]
        np.maximum(window, mask, out=window)


class Filming:
    """Turns instants into finished 8-bit frames (height, width, 3) RGB."""

    def __init__(self, scenery: Scenery, rng: np.random.Generator):
        self.scenery, self.spec, self.camera = scenery, scenery.spec, scenery.camera
        self.post: dict[str, Any] = {
            "gain": float(rng.uniform(0.90, 1.08)),
            "contrast": float(rng.uniform(0.94, 1.08)),
            "noise": float(rng.uniform(0.003, 0.012)),
            "wb": [float(rng.uniform(0.96, 1.05)), 1.0, float(rng.uniform(0.96, 1.05))],
            "vignette": float(rng.uniform(0.0, 0.10)),
            "blur": float(rng.uniform(0.3, 0.7)),
        }
        height, width = self.camera.height, self.camera.width
        y, x = np.mgrid[0:height, 0:width]
        off = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width**2 + height**2) * 4
        vignette = (1.0 - self.post["vignette"] * off)[..., None]
        tone = 255 * np.array(self.post["wb"]) * self.post["gain"] * vignette
        self.gain = (self.post["contrast"] * tone).astype(np.float32)
        self.lift = (0.5 * (1.0 - self.post["contrast"]) * tone).astype(np.float32)
        grain = rng.normal(0, self.post["noise"] * 255, (height + 64, width + 64, 1))
        self.grain = np.repeat(grain.astype(np.float32), 3, axis=2)
        self.rng = rng
        self.overlay = _occluder(self.spec.occlusion, height, width)

    def frame(self, t: float, index: int) -> np.ndarray:
        """The frame centred at time t."""
        camera, back = self.camera, self.scenery.backdrop
        shift = np.zeros(2) if camera.jitter is None else camera.jitter[index]
        move = np.array([[1, 0, shift[0] - MARGIN], [0, 1, shift[1] - MARGIN]], np.float64)
        size = (camera.width, camera.height)
        picture = cv2.warpAffine(
            back.picture, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        ground = cv2.warpAffine(
            back.ground, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        times = self._exposures(t)
        solid = np.zeros((camera.height, camera.width, 4), np.float32) if len(times) > 1 else None
        shade = np.zeros((camera.height, camera.width), np.float32)
        for moment in times:
            layer, (left, top), shadow = self.scenery.layer(moment, shift)
            shade += shadow / len(times)
            if solid is not None:
                solid[top : top + layer.shape[0], left : left + layer.shape[1]] += layer / len(
                    times
                )
        shade = cv2.GaussianBlur(shade, (0, 0), 1.2) * ground
        picture *= 1.0 - (0.22 if self.spec.background == "indoor" else 0.42) * shade[..., None]
        if solid is not None:
            picture = picture * (1.0 - solid[..., 3:]) + solid[..., :3]
        else:
            window = picture[top : top + layer.shape[0], left : left + layer.shape[1]]
            window[:] = window * (1.0 - layer[..., 3:]) + layer[..., :3]
        if self.overlay is not None:
            picture = picture * (1 - self.overlay[0]) + self.overlay[0] * self.overlay[1]
        return self._finish(picture)

    def _exposures(self, t: float) -> list[float]:
        """Instants averaged into one frame while the shutter is open."""
        if self.spec.shutter <= 0:
            return [t]
        half = 0.5 * self.spec.shutter
        ends = np.array([t - half, t + half])
        motion = self.scenery.actors[0].performance.motion
        body = motion.body(ends)
        uv = self.camera.pixels(racket_points(motion.skeleton, body)[:, 2])
        moved = float(np.linalg.norm(uv[1] - uv[0]))
        most = _BLUR_MOST
        if self.spec.served is not None:  # so many that a streak is one, not a row of balls
            moved, most = max(moved, self._ball_moves(ends)), _STREAK_MOST
        count = int(np.clip(np.ceil(moved / _BLUR_STEP), 1, most))
        return [float(m) for m in t + self.spec.shutter * ((np.arange(count) + 0.5) / count - 0.5)]

    def _ball_moves(self, ends: Array) -> float:
        """Pixels that the served ball moves between two instants; 0 where it does not fly."""
        seen = self.scenery.actors[0].performance.ball_at(ends)
        if any(ball is None or ball[1] != "flight" for ball in seen):
            return 0.0
        uv = self.camera.pixels(np.array([ball[0] for ball in seen if ball is not None]))
        return float(np.linalg.norm(uv[1] - uv[0]))

    def _finish(self, picture: Image) -> np.ndarray:
        """Lens blur, tone and grain, then 8 bits."""
        picture = cv2.GaussianBlur(picture, (0, 0), self.post["blur"])
        dy, dx = (int(v) for v in self.rng.integers(0, 64, 2))
        height, width = picture.shape[:2]
        grain = self.grain[dy : dy + height, dx : dx + width]
        picture = cv2.multiply(picture, self.gain, dst=picture)
        picture = cv2.add(picture, self.lift, dst=picture)
        finished: np.ndarray = cv2.add(picture, grain, dtype=cv2.CV_8U)
        return finished


def _occluder(kind: str | None, height: int, width: int) -> tuple[Image, float] | None:
    """Opacity of a net or fence close to the camera, and its grey level."""
    if kind is None:
        return None
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    scale = height / 720.0
    if kind == "net":
        pitch = 26.0 * scale
        mask = ((np.mod(x, pitch) < 3 * scale) | (np.mod(y, pitch) < 3 * scale)) & (
            y > 0.62 * height
        )
        mask |= (y > 0.60 * height) & (y < 0.62 * height)
    else:
        pitch = 46.0 * scale
        mask = (np.mod(x + y, pitch) < 3 * scale) | (np.mod(x - y, pitch) < 3 * scale)
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.6 * scale)
    return 0.75 * soft[..., None], 0.35


def make_film(profile: str, seed: int, index: int, folder: Path) -> Path:
    """Film one clip of a set: NNN.mp4, then NNN.json, which marks the clip as done."""
    spec, rng = draw_clip(profile, seed, index)
    began = time.process_time()
    truth = film_clip(spec, rng, folder / f"{spec.name}.mp4")
    path = folder / f"{spec.name}.json"
    write_truth(path, truth | clip_notes(profile, seed, index))
    spent = (time.process_time() - began) / truth["n_frames"]
    print(
        f"{spec.name}: {truth['n_frames']} frames, {spent:.3f} s each (processor)", file=sys.stderr
    )
    return path


def film_clip(spec: ClipSpec, rng: np.random.Generator, path: Path) -> dict[str, Any]:
    """Render a clip to `path` and return its truth."""
    cv2.setNumThreads(1)
    actors = cast(spec, rng)
    if spec.day:
        rng = day_of(spec)
    performance = actors[0].performance
    times = frame_times(spec, _filmed(spec, performance))
    camera = aim_camera(spec, performance, len(times))
    backdrop = make_backdrop(camera, spec.background, spec.backlight, rng)
    filming = Filming(Scenery(spec, actors, camera, backdrop), rng)
    part = path.with_suffix(".part.mp4")
    surface = []
    transforms = bone_transforms(actors[0].mesh, performance.motion.body(times))
    with Encoder(part, spec, times) as encoder:
        for i, t in enumerate(times):
            encoder.write(filming.frame(float(t), i))
            joints = surface_joints(actors[0].mesh, skin(actors[0].mesh, transforms[i]))
            surface.append(KEYPOINTS.mirror(joints, axis=1) if spec.left_handed else joints)
    part.replace(path)
    truth = clip_truth(performance, camera, times, spec.fps)
    truth["coco17_surface2d"] = np.round(camera.project(np.stack(surface)), 2).tolist()
    truth["post"] = filming.post
    _volume_share(truth, actors[0])
    return json.loads(json.dumps(truth))


def _filmed(spec: ClipSpec, performance: Performance) -> float:
    """How long the camera runs, seconds."""
    if spec.after_finish is None:
        return performance.duration
    finish = event_times(performance, performance.repetitions[0])["finish"]
    return min(performance.duration, finish + spec.after_finish)


def _volume_share(truth: dict[str, Any], actor: Actor) -> None:
    """Add the load share with the mesh's volume centroid as centre of mass, at trophy."""
    from .truth_formulas import rear_share

    for repetition in truth["serves"] + truth["other_repetitions"]:
        t = np.array([repetition["event_times_s"]["trophy"]])
        body = actor.performance.motion.body(t)
        vertices = skin(actor.mesh, bone_transforms(actor.mesh, body)[0])
        centre = volume_centre(vertices, actor.mesh.faces)
        share = rear_share(centre, body.points["R_ankle"][0], body.points["L_ankle"][0])
        repetition["metrics"]["trophy"]["rear_load_share_mesh_volume"] = round(float(share), 4)
