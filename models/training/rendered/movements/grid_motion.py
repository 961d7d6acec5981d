"""A movement given on an even grid of times: C2 in between, posed like any other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline

from models.training.rendered.pose import CHANNELS, Body, pose
from models.training.rendered.rotation import Array
from models.training.rendered.skeleton import Skeleton


@dataclass
class GridMotion:
    """Posture channels on a grid; `values` has a row a time and a column for each of `CHANNELS`.

    Times outside the grid take the nearest end's posture.
    """

    skeleton: Skeleton
    grid: Array
    values: Array
    _spline: CubicSpline | None = field(default=None, repr=False)
    _posed: Body | None = field(default=None, repr=False)

    def channels(self, t: Array) -> dict[str, Array]:
        """Channel values at times (T,)."""
        if self._spline is None:
            self._spline = CubicSpline(self.grid, self.values)
        values = np.asarray(self._spline(np.clip(t, self.grid[0], self.grid[-1])))
        return dict(zip(CHANNELS, values.T, strict=True))

    def body(self, t: Array) -> Body:
        """Posed body at times (T,)."""
        return pose(self.skeleton, self.channels(np.atleast_1d(t)))

    def on_grid(self) -> Body:
        """Posed body at the grid's own times."""
        if self._posed is None:
            self._posed = pose(self.skeleton, dict(zip(CHANNELS, self.values.T, strict=True)))
        return self._posed
