"""Building blocks of the fit's normal equations: residuals that are linear in the body's points.

A residual is ``N (A(shared) V) - b`` with ``V`` the 18 segment vectors of one instant, ``A`` a
linear map to points (affine in body lengths) and ``N`` a weighted projector. All arrays run over
instants ``t`` and residual rows ``m``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contract.tracks import FloatArray
from workers.engine.fit.arrow import ArrowSystem
from workers.engine.fit.observations import BODY_SHARED, SHARED, LinearMap
from workers.engine.fit.skeleton import VECTORS, block_index, tangent_basis

_K = len(VECTORS)
_G = len(SHARED)


@dataclass(slots=True)
class Accumulator:
    """Normal equations in the 54 untangled components, before the tangent projection.

    Couplings to the next two instants act alike on x, y and z, so ``first`` and ``second`` hold
    one number per pair of vectors and per vector.
    """

    diagonal: FloatArray
    first: FloatArray
    second: FloatArray
    border: FloatArray
    corner: FloatArray
    rhs: FloatArray
    rhs_shared: FloatArray

    @classmethod
    def zeros(cls, nodes: int) -> Accumulator:
        """Return empty equations for a number of instants."""
        return cls(
            np.zeros((nodes, _K, 3, _K, 3)),
            np.zeros((max(nodes - 1, 0), _K, _K)),
            np.zeros((max(nodes - 2, 0), _K)),
            np.zeros((nodes, _K, 3, _G)),
            np.zeros((_G, _G)),
            np.zeros((nodes, _K, 3)),
            np.zeros(_G),
        )

    def add_rows(
        self,
        vectors: FloatArray,
        shared: FloatArray,
        points: LinearMap,
        projector: FloatArray,
        residual: FloatArray,
        by_other: FloatArray | None = None,
    ) -> None:
        """Add weighted residual rows.

        Parameters
        ----------
        vectors : ndarray, shape (T, 18, 3)
        shared : ndarray, shape (G,)
        points : LinearMap
            To M points.
        projector : ndarray, shape (T, M, r, 3)
            Derivative of the weighted residual by the point.
        residual : ndarray, shape (T, M, r)
            Weighted.
        by_other : ndarray, shape (T, M, r, G - BODY_SHARED), optional
            Derivative by the camera unknowns.
        """
        nodes, rows = residual.shape[:2]
        a = points.at(shared)
        outer = np.einsum("mk,ml->mkl", a, a).reshape(rows, _K * _K)
        square = np.swapaxes(projector, 2, 3) @ projector
        block = outer.T @ square.reshape(nodes, rows, 9)
        self.diagonal += block.reshape(nodes, _K, _K, 3, 3).transpose(0, 1, 3, 2, 4)
        pulled = np.einsum("tmrc,tmr->tmc", projector, residual)
        self.rhs -= a.T @ pulled

        active = np.flatnonzero(np.any(points.per_shared, axis=(1, 2)))
        if not active.size and by_other is None:
            return
        moved = np.einsum("imk,tkc->tmci", points.per_shared[active], vectors)
        jacobian = np.zeros((*residual.shape, _G))
        jacobian[..., active] = projector @ moved
        if by_other is not None:
            jacobian[..., BODY_SHARED:] = by_other
        columns = np.flatnonzero(np.any(jacobian, axis=(0, 1, 2)))
        jacobian = jacobian[..., columns]
        crossed = np.swapaxes(projector, 2, 3) @ jacobian
        self.border[..., columns] += (a.T @ crossed.reshape(nodes, rows, -1)).reshape(
            nodes, _K, 3, len(columns)
        )
        flat = jacobian.reshape(residual.size, len(columns))
        self.corner[np.ix_(columns, columns)] += flat.T @ flat
        self.rhs_shared[columns] -= flat.T @ residual.reshape(-1)

    def add_slip(
        self,
        vectors: FloatArray,
        shared: FloatArray,
        points: LinearMap,
        weight: FloatArray,
    ) -> None:
        """Add ``weight * (point(t + 1) - point(t))``, weights of shape (T - 1, M)."""
        a = points.at(shared)
        step = np.diff(vectors, axis=0)
        residual = weight[..., None] * (a @ step)
        squared = weight**2
        outer = np.einsum("mk,ml->mkl", a, a).reshape(len(a), -1)
        block = (squared @ outer).reshape(-1, _K, _K)
        for c in range(3):
            self.diagonal[:-1, :, c, :, c] += block
            self.diagonal[1:, :, c, :, c] += block
        self.first -= block
        pulled = a.T @ (weight[..., None] * residual)
        self.rhs[:-1] += pulled
        self.rhs[1:] -= pulled

        active = np.flatnonzero(np.any(points.per_shared, axis=(1, 2)))
        moved = np.einsum("imk,tkc->tmci", points.per_shared[active], step)
        jacobian = weight[..., None, None] * moved
        crossed = np.einsum("mk,tm,tmci->tkci", a, weight, jacobian)
        self.border[1:, :, :, active] += crossed
        self.border[:-1, :, :, active] -= crossed
        flat = jacobian.reshape(-1, len(active))
        self.corner[np.ix_(active, active)] += flat.T @ flat
        self.rhs_shared[active] -= flat.T @ residual.reshape(-1)

    def add_curvature(self, vectors: FloatArray, stencil: FloatArray, weight: FloatArray) -> None:
        """Add ``weight * second difference`` of each segment vector.

        Parameters
        ----------
        stencil : ndarray, shape (T - 2, 3)
            Coefficients of the instants before, at and after.
        weight : ndarray, shape (T - 2, 18)
        """
        w2 = weight**2
        value = sum(stencil[:, j, None, None] * vectors[j : len(vectors) - 2 + j] for j in range(3))
        n = len(vectors) - 2
        own = np.arange(_K)
        for i in range(3):
            part = w2 * stencil[:, i, None] ** 2
            for c in range(3):
                self.diagonal[i : n + i, own, c, own, c] += part
        self.first[:n, own, own] += w2 * (stencil[:, 0] * stencil[:, 1])[:, None]
        self.first[1 : n + 1, own, own] += w2 * (stencil[:, 1] * stencil[:, 2])[:, None]
        self.second += w2 * (stencil[:, 0] * stencil[:, 2])[:, None]
        for j in range(3):
            self.rhs[j : n + j] -= w2[..., None] * stencil[:, j, None, None] * value

    def add_pose(
        self, slopes: dict[int, FloatArray], value: FloatArray, weight: FloatArray
    ) -> None:
        """Add one residual per instant with its slopes by a few segment vectors, (T, 3) each."""
        for k, a in slopes.items():
            self.rhs[:, k] -= (weight * value)[:, None] * a
            for l, b in slopes.items():
                self.diagonal[:, k, :, l, :] += (
                    weight[:, None, None] * a[:, :, None] * b[:, None, :]
                )

    def add_prior(self, index: int, residual: float, derivative: float) -> None:
        """Add one weighted residual of a single shared unknown."""
        self.corner[index, index] += derivative**2
        self.rhs_shared[index] -= derivative * residual

    def projected(self, vectors: FloatArray) -> tuple[ArrowSystem, FloatArray]:
        """Return the equations in tangent components, and the tangent bases (T, 18, 3, 3)."""
        basis = tangent_basis(vectors)
        keep = block_index()
        nodes = len(vectors)

        frame = np.zeros((nodes, 3 * _K, len(keep)))
        for column, index in enumerate(keep):
            k, c = divmod(int(index), 3)
            frame[:, 3 * k : 3 * k + 3, column] = basis[:, k, :, c]
        full = self.diagonal.reshape(nodes, 3 * _K, 3 * _K)
        diagonal = np.swapaxes(frame, 1, 2) @ full @ frame
        owner = keep // 3
        axes = frame.reshape(nodes, _K, 3, len(keep)).sum(axis=1)
        first = np.swapaxes(axes[1:], 1, 2) @ axes[:-1]
        first *= self.first[:, owner[:, None], owner]
        second = np.swapaxes(axes[2:], 1, 2) @ axes[:-2]
        second *= (owner[:, None] == owner) * self.second[:, owner][:, None, :]
        border = np.matmul(np.swapaxes(basis, -1, -2), self.border).reshape(nodes, 3 * _K, _G)
        rhs = np.einsum("tkci,tkc->tki", basis, self.rhs).reshape(nodes, 3 * _K)
        system = ArrowSystem(
            diagonal,
            first,
            second,
            border[:, keep],
            self.corner,
            rhs[:, keep],
            self.rhs_shared,
        )
        return system, basis
