"""Least squares of a smooth time series with a few shared unknowns: an arrow-shaped system.

The unknowns are one block of ``n`` numbers per time node and ``g`` numbers shared by all nodes.
Blocks couple to the next two nodes only (velocities, accelerations), so the time part is banded;
the shared part borders it. Solved by banded Cholesky and a Schur complement (LAPACK ``pbtrf``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import (
    cho_factor,
    cho_solve,
    cho_solve_banded,
    cholesky_banded,
    solve_banded,
    solve_triangular,
)

from models.contract.tracks import FloatArray


@dataclass(slots=True)
class ArrowSystem:
    """Normal equations ``[[A, B], [B.T, C]] [x; y] = [a; c]``.

    Attributes
    ----------
    diagonal : ndarray, shape (T, n, n)
        Blocks (t, t) of A.
    first, second : ndarray, shape (T - 1, n, n) and (T - 2, n, n)
        Blocks (t + 1, t) and (t + 2, t) of A.
    border : ndarray, shape (T, n, g)
        B.
    corner : ndarray, shape (g, g)
        C.
    rhs : ndarray, shape (T, n)
    rhs_shared : ndarray, shape (g,)
    """

    diagonal: FloatArray
    first: FloatArray
    second: FloatArray
    border: FloatArray
    corner: FloatArray
    rhs: FloatArray
    rhs_shared: FloatArray

    def banded(self, damping: float) -> FloatArray:
        """Return A in LAPACK lower band storage, its diagonal scaled by ``1 + damping``."""
        nodes, n, _ = self.diagonal.shape
        width = 3 * n
        band = np.zeros((width, nodes, n))
        for column in range(n):
            band[: n - column, :, column] = self.diagonal[:, column:, column].T
            if nodes > 1:
                band[n - column : 2 * n - column, :-1, column] = self.first[:, :, column].T
            if nodes > 2:
                band[2 * n - column : width - column, :-2, column] = self.second[:, :, column].T
        band[0] *= 1.0 + damping
        return band.reshape(width, nodes * n)

    def solve(self, damping: float = 0.0) -> tuple[FloatArray, FloatArray]:
        """Return the step of the time blocks, shape (T, n), and of the shared unknowns, (g,)."""
        factor = Factor.of(self, damping)
        return factor.solve(self.rhs, self.rhs_shared)


@dataclass(frozen=True, slots=True)
class Factor:
    """Cholesky factor of an `ArrowSystem`: solves, and draws from its Gaussian."""

    lower: FloatArray
    border: FloatArray
    inner: FloatArray
    schur: tuple[FloatArray, bool]
    shape: tuple[int, int]

    @classmethod
    def of(cls, system: ArrowSystem, damping: float = 0.0) -> Factor:
        """Factorise. Raises ``numpy.linalg.LinAlgError`` when not positive definite."""
        nodes, n, shared = system.border.shape
        lower = cholesky_banded(
            system.banded(damping), overwrite_ab=True, lower=True, check_finite=False
        )
        border = system.border.reshape(nodes * n, shared)
        inner = _banded_solve(lower, border)
        corner = system.corner + damping * np.diag(np.diag(system.corner))
        schur = cho_factor(corner - border.T @ inner, lower=True, check_finite=False)
        return cls(lower, border, inner, schur, (nodes, n))

    def solve(self, rhs: FloatArray, rhs_shared: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Solve for one right-hand side."""
        flat = rhs.reshape(-1)
        shared = cho_solve(self.schur, rhs_shared - self.inner.T @ flat, check_finite=False)
        time = _banded_solve(self.lower, flat) - self.inner @ shared
        return time.reshape(self.shape), np.asarray(shared)

    def sample(self, n: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        """Draw from the zero-mean Gaussian whose precision is the system's matrix.

        Returns
        -------
        time : ndarray, shape (n, T, block)
        shared : ndarray, shape (n, g)
        """
        size = self.lower.shape[1]
        corner = np.tril(self.schur[0])
        shared = solve_triangular(
            corner, rng.standard_normal((corner.shape[0], n)), lower=True, trans="T"
        )
        upper = _transpose_band(self.lower)
        free = solve_banded(
            (0, self.lower.shape[0] - 1),
            upper,
            rng.standard_normal((size, n)),
            overwrite_ab=True,
            check_finite=False,
        )
        time = free - self.inner @ shared
        return time.T.reshape(n, *self.shape), np.asarray(shared.T)


def _banded_solve(lower: FloatArray, rhs: FloatArray) -> FloatArray:
    return np.asarray(cho_solve_banded((lower, True), rhs, check_finite=False))


def _transpose_band(lower: FloatArray) -> FloatArray:
    """Upper band storage of the transpose of a lower band matrix."""
    width, size = lower.shape
    upper = np.zeros_like(lower)
    for k in range(width):
        upper[width - 1 - k, k:] = lower[k, : size - k]
    return upper
