"""A small triangle rasteriser on the CPU: depth buffer, smooth shading, coverage by supersampling.

Needs the `training` extra (numba compiles the inner loop).
"""

from __future__ import annotations

import cv2
import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.float32]


@numba.njit(cache=True, fastmath=False)  # type: ignore[untyped-decorator]
def _fill(uv, depth, faces, shade, colour, zbuf, out, alpha):  # type: ignore[no-untyped-def]
    height, width = zbuf.shape
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        if depth[a] < 0.2 or depth[b] < 0.2 or depth[c] < 0.2:
            continue
        x0, y0, x1, y1, x2, y2 = uv[a, 0], uv[a, 1], uv[b, 0], uv[b, 1], uv[c, 0], uv[c, 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if abs(area) < 1e-9:
            continue
        left = max(0, int(np.ceil(min(x0, x1, x2) - 0.5)))
        right = min(width - 1, int(np.floor(max(x0, x1, x2) - 0.5)))
        top = max(0, int(np.ceil(min(y0, y1, y2) - 0.5)))
        bottom = min(height - 1, int(np.floor(max(y0, y1, y2) - 0.5)))
        inv = 1.0 / area
        i0, i1, i2 = 1.0 / depth[a], 1.0 / depth[b], 1.0 / depth[c]
        for y in range(top, bottom + 1):
            py = y + 0.5
            for x in range(left, right + 1):
                px = x + 0.5
                w0 = ((x1 - px) * (y2 - py) - (x2 - px) * (y1 - py)) * inv
                w1 = ((x2 - px) * (y0 - py) - (x0 - px) * (y2 - py)) * inv
                w2 = 1.0 - w0 - w1
                if w0 < 0.0 or w1 < 0.0 or w2 < 0.0:
                    continue
                near = w0 * i0 + w1 * i1 + w2 * i2
                if near <= zbuf[y, x]:
                    continue
                if alpha >= 1.0:
                    zbuf[y, x] = near
                light = w0 * shade[a] + w1 * shade[b] + w2 * shade[c]
                for k in range(3):
                    out[y, x, k] = alpha * colour[f, k] * light + (1.0 - alpha) * out[y, x, k]
                out[y, x, 3] = alpha + (1.0 - alpha) * out[y, x, 3]


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def _cover(uv, faces, out):  # type: ignore[no-untyped-def]
    height, width = out.shape
    for f in range(faces.shape[0]):
        x0, y0 = uv[faces[f, 0], 0], uv[faces[f, 0], 1]
        x1, y1 = uv[faces[f, 1], 0], uv[faces[f, 1], 1]
        x2, y2 = uv[faces[f, 2], 0], uv[faces[f, 2], 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if abs(area) < 1e-9:
            continue
        inv = 1.0 / area
        for y in range(max(0, int(min(y0, y1, y2))), min(height - 1, int(max(y0, y1, y2))) + 1):
            for x in range(max(0, int(min(x0, x1, x2))), min(width - 1, int(max(x0, x1, x2))) + 1):
                px, py = x + 0.5, y + 0.5
                w0 = ((x1 - px) * (y2 - py) - (x2 - px) * (y1 - py)) * inv
                w1 = ((x2 - px) * (y0 - py) - (x0 - px) * (y2 - py)) * inv
                if w0 >= 0.0 and w1 >= 0.0 and w0 + w1 <= 1.0:
                    out[y, x] = 1.0


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def vertex_normals(vertices, faces):  # type: ignore[no-untyped-def]
    """Unit normals (V, 3), weighted by face area."""
    out = np.zeros_like(vertices)
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = (
            vertices[b, 0] - vertices[a, 0],
            vertices[b, 1] - vertices[a, 1],
            vertices[b, 2] - vertices[a, 2],
        )
        vx, vy, vz = (
            vertices[c, 0] - vertices[a, 0],
            vertices[c, 1] - vertices[a, 1],
            vertices[c, 2] - vertices[a, 2],
        )
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        for i in (a, b, c):
            out[i, 0] += nx
            out[i, 1] += ny
            out[i, 2] += nz
    for i in range(out.shape[0]):
        n = np.sqrt(out[i, 0] ** 2 + out[i, 1] ** 2 + out[i, 2] ** 2) + 1e-12
        out[i] /= n
    return out


class Canvas:
    """A window of the picture, `factor` times finer than pixels, to draw bodies into.

    `left, top, width, height` are in pixels of the picture.
    """

    def __init__(self, left: int, top: int, width: int, height: int, factor: int = 2):
        self.left, self.top, self.width, self.height, self.factor = left, top, width, height, factor
        self.depth = np.zeros((height * factor, width * factor), np.float64)
        self.rgba = np.zeros((height * factor, width * factor, 4), np.float32)

    def _place(self, uv: Array) -> Array:
        return (uv - np.array([self.left, self.top])) * self.factor

    def draw(
        self,
        uv: Array,
        depth: Array,
        faces: NDArray[np.int32],
        shade: Array,
        colour: Image,
        alpha: float = 1.0,
    ) -> None:
        """Draw triangles: pixels (V, 2), depths (V,), light per vertex (V,), colour per face (F,
        3).
        """
        _fill(self._place(uv), depth, faces, shade, colour, self.depth, self.rgba, alpha)

    def resolve(self) -> Image:
        """Premultiplied RGBA (height, width, 4) of the window."""
        out: Image = cv2.resize(self.rgba, (self.width, self.height), interpolation=cv2.INTER_AREA)
        return out


def coverage(
    uv: Array, faces: NDArray[np.int32], left: int, top: int, width: int, height: int
) -> Image:
    """Hard mask (height, width) of triangles projected to pixels."""
    out = np.zeros((height, width), np.float32)
    _cover(uv - np.array([left, top]), faces, out)
    return out
