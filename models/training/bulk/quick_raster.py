"""The inner loops of quick rendering in single precision: skin, normals, triangles, shadow."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
NEAR = 0.2
"""Nothing nearer to the camera is drawn, metres."""


@numba.njit(cache=True, fastmath=True)  # type: ignore[untyped-decorator]
def skinned(vertices, weights, indices, transforms):  # type: ignore[no-untyped-def]
    """World vertices (V, 3) of rest vertices by weights (V, K) over transforms (B, 3, 4)."""
    out = np.zeros_like(vertices)
    for v in range(vertices.shape[0]):
        x, y, z = vertices[v, 0], vertices[v, 1], vertices[v, 2]
        for k in range(weights.shape[1]):
            w = weights[v, k]
            if w == 0.0:
                continue
            m = transforms[indices[v, k]]
            for i in range(3):
                out[v, i] += w * (m[i, 0] * x + m[i, 1] * y + m[i, 2] * z + m[i, 3])
    return out


@numba.njit(cache=True, fastmath=True)  # type: ignore[untyped-decorator]
def lit(vertices, faces, sun, ambient, direct):  # type: ignore[no-untyped-def]
    """Light (V,) on each vertex from its normal."""
    normals = np.zeros_like(vertices)
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        for i in (a, b, c):
            normals[i, 0] += nx
            normals[i, 1] += ny
            normals[i, 2] += nz
    out = np.empty(vertices.shape[0], np.float32)
    for i in range(vertices.shape[0]):
        x, y, z = normals[i, 0], normals[i, 1], normals[i, 2]
        n = np.sqrt(x * x + y * y + z * z) + 1e-20
        toward = (x * sun[0] + y * sun[1] + z * sun[2]) / n
        out[i] = ambient + 0.10 * z / n + direct * max(0.0, toward)
    return out


@numba.njit(cache=True, fastmath=True)  # type: ignore[untyped-decorator]
def draw(uv, depth, faces, shade, colour, zbuf, out, alpha, cull):  # type: ignore[no-untyped-def]
    """Draw triangles at pixels uv (V, 2) of the fine window, depths (V,), light (V,), face colours.

    `zbuf` (h, w) holds inverse depths, `out` (h, w, 4) premultiplied RGBA; both are changed.
    With `cull`, faces seen from inside are left out.
    """
    height, width = zbuf.shape
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        if depth[a] < NEAR or depth[b] < NEAR or depth[c] < NEAR:
            continue
        x0, y0, x1, y1 = uv[a, 0], uv[a, 1], uv[b, 0], uv[b, 1]
        x2, y2 = uv[c, 0], uv[c, 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if abs(area) < 1e-6 or (cull and area > 0.0):
            continue
        left = max(0, int(np.ceil(min(x0, x1, x2) - 0.5)))
        right = min(width - 1, int(np.floor(max(x0, x1, x2) - 0.5)))
        top = max(0, int(np.ceil(min(y0, y1, y2) - 0.5)))
        bottom = min(height - 1, int(np.floor(max(y0, y1, y2) - 0.5)))
        if left > right or top > bottom:
            continue
        inv = 1.0 / area
        i0, i1, i2 = 1.0 / depth[a], 1.0 / depth[b], 1.0 / depth[c]
        s0, s1, s2 = shade[a], shade[b], shade[c]
        dx0, dx1 = (y1 - y2) * inv, (y2 - y0) * inv
        red, green, blue = colour[f, 0], colour[f, 1], colour[f, 2]
        for y in range(top, bottom + 1):
            px, py = left + 0.5, y + 0.5
            w0 = ((x1 - px) * (y2 - py) - (x2 - px) * (y1 - py)) * inv
            w1 = ((x2 - px) * (y0 - py) - (x0 - px) * (y2 - py)) * inv
            for x in range(left, right + 1):
                w2 = 1.0 - w0 - w1
                if w0 >= 0.0 and w1 >= 0.0 and w2 >= 0.0:
                    near = w0 * i0 + w1 * i1 + w2 * i2
                    if near > zbuf[y, x]:
                        if alpha >= 1.0:
                            zbuf[y, x] = near
                        light = alpha * (w0 * s0 + w1 * s1 + w2 * s2)
                        rest = 1.0 - alpha
                        out[y, x, 0] = red * light + rest * out[y, x, 0]
                        out[y, x, 1] = green * light + rest * out[y, x, 1]
                        out[y, x, 2] = blue * light + rest * out[y, x, 2]
                        out[y, x, 3] = alpha + rest * out[y, x, 3]
                w0 += dx0
                w1 += dx1


@numba.njit(cache=True, fastmath=True)  # type: ignore[untyped-decorator]
def shadow(uv, faces, out):  # type: ignore[no-untyped-def]
    """Mark in `out` (h, w) uint8 the pixels covered by triangles at uv (V, 2)."""
    height, width = out.shape
    for f in range(faces.shape[0]):
        x0, y0 = uv[faces[f, 0], 0], uv[faces[f, 0], 1]
        x1, y1 = uv[faces[f, 1], 0], uv[faces[f, 1], 1]
        x2, y2 = uv[faces[f, 2], 0], uv[faces[f, 2], 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area >= -1e-6:
            continue
        inv = 1.0 / area
        for y in range(max(0, int(min(y0, y1, y2))), min(height - 1, int(max(y0, y1, y2))) + 1):
            for x in range(max(0, int(min(x0, x1, x2))), min(width - 1, int(max(x0, x1, x2))) + 1):
                px, py = x + 0.5, y + 0.5
                w0 = ((x1 - px) * (y2 - py) - (x2 - px) * (y1 - py)) * inv
                w1 = ((x2 - px) * (y0 - py) - (x0 - px) * (y2 - py)) * inv
                if w0 >= 0.0 and w1 >= 0.0 and w0 + w1 <= 1.0:
                    out[y, x] = 255
