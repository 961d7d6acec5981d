"""The square a network looks at: turned with the body, and its exact inverse.

A crop is a square in the picture with a centre, a side and an angle. Crop
coordinates run 0..n over its n x n pixels, with the same corner convention as the
picture, so that points and pixels go there and back without half-pixel shifts.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from workers.pose.frames import FloatArray, Picture


@dataclass(frozen=True, slots=True)
class SquareCrop:
    """A square region of the picture.

    Attributes
    ----------
    u, v : float
        Centre, pixels.
    side : float
        Side length, pixels.
    angle : float
        Radians; how far the crop's upward axis is turned clockwise (as seen in the
        picture) from the picture's upward axis. 0 = upright.
    """

    u: float
    v: float
    side: float
    angle: float = 0.0

    def matrix(self, n: int) -> FloatArray:
        """Affine map from picture to crop coordinates, shape (2, 3), for n x n pixels."""
        scale = n / self.side
        cos, sin = np.cos(self.angle) * scale, np.sin(self.angle) * scale
        turn = np.array([[cos, sin], [-sin, cos]])
        shift = np.array([n / 2, n / 2]) - turn @ np.array([self.u, self.v])
        return np.hstack([turn, shift[:, None]])

    def to_picture(self, xy: FloatArray, n: int) -> FloatArray:
        """Crop points, shape (..., 2), in picture coordinates; inverse of `matrix`."""
        scale = self.side / n
        cos, sin = np.cos(self.angle) * scale, np.sin(self.angle) * scale
        back = np.array([[cos, -sin], [sin, cos]])
        return np.asarray((xy - n / 2) @ back.T + np.array([self.u, self.v]))

    def upright(self, factor: float = 1.0) -> SquareCrop:
        """The same place without the turn, its side multiplied by `factor`."""
        return SquareCrop(self.u, self.v, self.side * factor, 0.0)

    def cut(self, picture: Picture, n: int) -> Picture:
        """The crop's n x n pixels; black where it leaves the picture.

        A picture much finer than the crop is first averaged down over the crop's
        surroundings, since bilinear sampling alone would skip most of its pixels.
        """
        m = self.matrix(n)
        shrink = round(self.side / n / 2)
        if shrink >= 2:
            reach = int(self.side * 0.75) + shrink  # the half diagonal, turned any way
            left = max(0, int(self.u) - reach) // shrink * shrink
            top = max(0, int(self.v) - reach) // shrink * shrink
            part = picture[top : int(self.v) + reach, left : int(self.u) + reach]
            columns, rows = part.shape[1] // shrink, part.shape[0] // shrink
            if columns > 0 and rows > 0:
                part = part[: rows * shrink, : columns * shrink]
                small = cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)
                picture = np.asarray(small, dtype=np.uint8)
                m[:, 2] += m[:, :2] @ np.array([left, top])
                m[:, :2] *= shrink
        # cv2 counts pixel centres at whole numbers, we at .5: shift both sides by half.
        m[:, 2] += m[:, :2] @ np.array([0.5, 0.5]) - 0.5
        cut = cv2.warpAffine(
            picture, m, (n, n), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
        return np.asarray(cut, dtype=np.uint8)


def around_circle(
    centre: FloatArray, rim: FloatArray, factor: float, smallest: float = 8.0
) -> SquareCrop:
    """Crop around the circle with a given centre and a rim point above the head.

    Parameters
    ----------
    centre, rim : ndarray, shape (2,)
        Pixels. The direction from centre to rim becomes the crop's upward axis.
    factor : float
        Side of the crop in diameters of the circle.
    smallest : float
        Lower bound of the side, pixels.
    """
    axis = rim - centre
    side = max(smallest, 2.0 * factor * float(np.hypot(*axis)))
    return SquareCrop(
        float(centre[0]), float(centre[1]), side, float(np.arctan2(axis[0], -axis[1]))
    )


def around_body(
    points: FloatArray, shoulders: FloatArray, hips: FloatArray, factor: float
) -> SquareCrop:
    """Crop about the hips that holds all points, turned to the hip-shoulder axis.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Every joint that should be inside, pixels.
    shoulders, hips : ndarray, shape (2, 2)
        Left and right, pixels.
    factor : float
        Side of the crop in diameters of the smallest circle about the mid-hip that
        holds the points.
    """
    centre = hips.mean(axis=0)
    axis = shoulders.mean(axis=0) - centre
    length = float(np.hypot(*axis))
    radius = float(np.linalg.norm(points - centre, axis=1).max())
    up = axis / length if length > 1e-6 else np.array([0.0, -1.0])
    return around_circle(centre, centre + up * radius, factor)


MOST_AHEAD = 0.15
"""Bound of the extrapolated shift, in sides of the crop."""

MOST_TURN = 0.35
"""Bound of the extrapolated turn, radians."""

MOST_GROWTH = 1.15
"""Bound of the extrapolated change of the side."""


def ahead(before: SquareCrop, now: SquareCrop, ratio: float) -> SquareCrop:
    """Where the crop will be, if its motion goes on.

    Without it, the crop is one frame late, and a hitting arm that swings up leaves it.

    Parameters
    ----------
    before, now : Crop
        The last two.
    ratio : float
        Time from `now` to the wanted instant over time from `before` to `now`.
    """
    shift = np.array([now.u - before.u, now.v - before.v]) * ratio
    length = float(np.hypot(*shift))
    if length > MOST_AHEAD * now.side:
        shift *= MOST_AHEAD * now.side / length
    turn = (now.angle - before.angle + np.pi) % (2 * np.pi) - np.pi
    growth = (now.side / before.side) ** ratio
    return SquareCrop(
        now.u + float(shift[0]),
        now.v + float(shift[1]),
        now.side * float(np.clip(growth, 1 / MOST_GROWTH, MOST_GROWTH)),
        now.angle + float(np.clip(turn * ratio, -MOST_TURN, MOST_TURN)),
    )
