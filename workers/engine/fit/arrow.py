"""Least squares of a smooth time series with a few shared unknowns: an arrow-shaped system.

The unknowns are one block of ``n`` numbers per time node and ``g`` numbers shared by all nodes.
Blocks couple to the next two nodes only (velocities, accelerations), so two nodes taken together
couple to the next two only: the time part is block tridiagonal, and the shared part borders it.
Solved by a block Cholesky and a Schur complement; border and right-hand side go through the same
forward pass. Dense blocks of two nodes: LAPACK's banded solver takes one right-hand side at a time
and was twice as slow (39 unknowns a node, 24 columns).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.linalg.blas import dtrsm
from scipy.linalg.lapack import dpotrf

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

    def paired(self, damping: float) -> tuple[FloatArray, FloatArray]:
        """Return A's diagonal blocks of two nodes, and all that lies beside them.

        Returns
        -------
        diagonal : ndarray, shape (P, 2 n, 2 n)
            A's diagonal is scaled by ``1 + damping``. An odd last node is paired with unknowns of
            their own that are zero.
        beside : ndarray, shape (P, 2 n, 2 n + g + 1)
            The coupling to the next pair, the border and the right-hand side.
        """
        nodes, n, shared = self.border.shape
        pairs = (nodes + 1) // 2
        odd = nodes % 2
        diagonal = np.zeros((pairs, 2 * n, 2 * n))
        beside = np.zeros((pairs, 2 * n, 2 * n + shared + 1))
        own = np.arange(n)
        for half in range(2):
            part = slice(half * n, (half + 1) * n)
            full = pairs - odd * half
            blocks = self.diagonal[half::2].copy()
            blocks[:, own, own] *= 1.0 + damping
            diagonal[:full, part, part] = blocks
            beside[:full, part, 2 * n : -1] = self.border[half::2]
            beside[:full, part, -1] = self.rhs[half::2]
            skip = self.second[half::2]
            beside[: len(skip), part, part] = skip.transpose(0, 2, 1)
        if odd:
            diagonal[-1, n + own, n + own] = 1.0
        inside = self.first[0::2]
        diagonal[: len(inside), n:, :n] = inside
        diagonal[: len(inside), :n, n:] = inside.transpose(0, 2, 1)
        across = self.first[1::2]
        beside[: len(across), n:, :n] = across.transpose(0, 2, 1)
        return diagonal, beside

    def solve(self, damping: float = 0.0) -> tuple[FloatArray, FloatArray]:
        """Return the step of the time blocks, shape (T, n), and of the shared unknowns, (g,)."""
        return Factor.of(self, damping).step()


@dataclass(frozen=True, slots=True)
class Factor:
    """Cholesky factor of an `ArrowSystem`: its solution, and draws from its Gaussian.

    Attributes
    ----------
    upper : list of ndarray, shape (2 n, 2 n) each
        Diagonal blocks of the factor L, transposed (their lower triangles are not used).
    beside : ndarray, shape (P, 2 n, 2 n + g + 1)
        The other blocks of L, transposed, then ``inv(L) B`` and ``inv(L) a``.
    schur : tuple
        Factor of the Schur complement, as `scipy.linalg.cho_factor` gives it.
    rhs_shared : ndarray, shape (g,)
        Right-hand side of the shared unknowns after elimination.
    shape : tuple of int
        T and n.
    """

    upper: list[FloatArray]
    beside: FloatArray
    schur: tuple[FloatArray, bool]
    rhs_shared: FloatArray
    shape: tuple[int, int]

    @classmethod
    def of(cls, system: ArrowSystem, damping: float = 0.0) -> Factor:
        """Factorise. Raises ``numpy.linalg.LinAlgError`` when not positive definite."""
        nodes, n, shared = system.border.shape
        size = 2 * n
        diagonal, beside = system.paired(damping)
        corner = np.zeros((shared + 1, shared + 1))
        corner[:-1, :-1] = system.corner + damping * np.diag(np.diag(system.corner))
        corner[-1, :-1] = system.rhs_shared
        upper: list[FloatArray] = []
        for i, panel in enumerate(beside):
            # Row-major blocks are their own transposes to LAPACK, which works in place on them.
            root, failed = dpotrf(diagonal[i].T, lower=0, clean=0, overwrite_a=1)
            if failed:
                raise np.linalg.LinAlgError("The equations are not positive definite.")
            dtrsm(1.0, root, panel.T, side=1, overwrite_b=1)
            upper.append(root)
            square = panel.T @ panel
            corner -= square[size:, size:]
            if i + 1 < len(beside):
                diagonal[i + 1] -= square[:size, :size]
                beside[i + 1, :, size:] -= square[:size, size:]
        schur = cho_factor(corner[:-1, :-1], lower=True, check_finite=False)
        return cls(upper, beside, schur, corner[-1, :-1], (nodes, n))

    def step(self) -> tuple[FloatArray, FloatArray]:
        """Return the system's solution: time blocks, shape (T, n), and shared unknowns, (g,)."""
        shared = np.asarray(cho_solve(self.schur, self.rhs_shared, check_finite=False))
        time = self._back(self.beside[:, :, -1:], shared[:, None])
        return time[..., 0], shared

    def sample(self, n: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        """Draw from the zero-mean Gaussian whose precision is the system's matrix.

        Returns
        -------
        time : ndarray, shape (n, T, block)
        shared : ndarray, shape (n, g)
        """
        corner = np.tril(self.schur[0])
        shared = np.asarray(
            solve_triangular(
                corner, rng.standard_normal((corner.shape[0], n)), lower=True, trans="T"
            )
        )
        nodes, block = self.shape
        white = np.zeros((len(self.upper) * 2 * block, n))
        white[: nodes * block] = rng.standard_normal((nodes * block, n))
        time = self._back(white.reshape(len(self.upper), 2 * block, n), shared)
        return time.transpose(2, 0, 1), shared.T

    def _back(self, rhs: FloatArray, shared: FloatArray) -> FloatArray:
        """Solve ``L.T x = rhs - inv(L) B shared``, (P, 2 n, c) and (g, c) -> (T, n, c)."""
        nodes, n = self.shape
        size = 2 * n
        out = rhs - self.beside[:, :, size:-1] @ shared
        for i in range(len(self.upper) - 1, -1, -1):
            if i + 1 < len(self.upper):
                out[i] -= self.beside[i, :, :size] @ out[i + 1]
            out[i] = dtrsm(1.0, self.upper[i], out[i])
        return np.asarray(out.reshape(-1, n, out.shape[-1])[:nodes])
