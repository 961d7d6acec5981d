"""Triangle meshes of the racket and the ball."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .implements import BALL_RADIUS
from .rotation import Array, rot_z

Faces = NDArray[np.int32]
BALL_COLOUR = np.array([0.80, 0.95, 0.20], np.float32)


def _tube(path: Array, radius: Array, sides: int, closed: bool) -> tuple[Array, Faces]:
    """A tube around a polyline (N, 3) lying in the x-z plane, radius per point."""
    ahead = np.roll(path, -1, axis=0) - np.roll(path, 1, axis=0)
    if not closed:
        ahead[0], ahead[-1] = path[1] - path[0], path[-1] - path[-2]
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    flat = np.array([0.0, 1.0, 0.0])
    across = np.cross(ahead, flat)
    turn = np.arange(sides) * 2 * np.pi / sides
    ring = np.cos(turn)[:, None, None] * across + np.sin(turn)[:, None, None] * flat
    points = (path + radius[:, None] * ring).transpose(1, 0, 2).reshape(-1, 3)
    faces = []
    count = len(path)
    for i in range(count if closed else count - 1):
        for j in range(sides):
            a, b = i * sides + j, i * sides + (j + 1) % sides
            c, d = (a + sides) % (count * sides), (b + sides) % (count * sides)
            faces += [(a, b, c), (b, d, c)]
    return points, np.array(faces, np.int32)


def racket_mesh() -> tuple[Array, Faces, NDArray[np.float32], Array, Faces]:
    """Frame vertices, faces and face colours, and the string bed; butt at the origin, tip on +z."""
    turn = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    head = np.stack([0.125 * np.sin(turn), 0 * turn, 0.515 + 0.16 * np.cos(turn)], axis=1)
    hoop, hoop_faces = _tube(head, np.full(28, 0.011), 6, True)
    shaft_line = np.stack([np.zeros(6), np.zeros(6), np.linspace(0.0, 0.36, 6)], axis=1)
    shaft, shaft_faces = _tube(
        shaft_line, np.array([0.018, 0.016, 0.016, 0.013, 0.011, 0.011]), 6, False
    )
    vertices, faces = np.vstack([hoop, shaft]), np.vstack([hoop_faces, shaft_faces + len(hoop)])
    colours = np.full((len(faces), 3), 0.12, np.float32)
    colours[: len(hoop_faces)] = (0.75, 0.15, 0.12)
    bed = np.vstack([head, [[0.0, 0.0, 0.515]]])
    fan = np.array([(i, (i + 1) % 28, 28) for i in range(28)], np.int32)
    return vertices, faces, colours, bed, fan


def ball_mesh() -> tuple[Array, Faces]:
    """A ball of 8 x 12 facets around the origin."""
    polar, around = np.linspace(0, np.pi, 9), np.arange(12) * np.pi / 6
    points = [
        (np.sin(p) * np.cos(a), np.sin(p) * np.sin(a), np.cos(p)) for p in polar for a in around
    ]
    faces = []
    for i in range(8):
        for j in range(12):
            a, b = i * 12 + j, i * 12 + (j + 1) % 12
            faces += [(a, a + 12, b), (b, a + 12, b + 12)]
    return BALL_RADIUS * np.array(points), np.array(faces, np.int32)


def rolled(points: Array, grip: float) -> Array:
    """Turn the racket about its axis: strings along the frame's x axis, then by the grip."""
    facing = points @ np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(facing @ rot_z(np.array(grip)).T)
