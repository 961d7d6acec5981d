"""Building blocks of the fit's normal equations: residuals that are linear in the body's points.

A residual is ``N (A(shared) V) - b`` with ``V`` the 18 segment vectors of one instant, ``A`` a
linear map to points (affine in body lengths) and ``N`` a weighted projector. All arrays run over
instants ``t`` and residual rows ``m``. Rows that see one instant only are kept as they are, in
tangent components, and multiplied out together at the end (one matrix product an instant).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.contract.tracks import FloatArray, IntArray
from workers.engine.fit.arrow import ArrowSystem
from workers.engine.fit.observations import BODY_SHARED, SHARED, LinearMap
from workers.engine.fit.skeleton import VECTORS, block_index, tangent_basis

_K = len(VECTORS)
_G = len(SHARED)
_KEEP = block_index()
_N = len(_KEEP)
_OWNER: IntArray = _KEEP // 3
"""Which segment vector each of the 39 unknowns of an instant belongs to."""

_OWN = tuple(slice(*np.searchsorted(_OWNER, (k, k + 1))) for k in range(_K))
"""The unknowns of each segment vector."""

_SAME_A, _SAME_B = np.nonzero(_OWNER[:, None] == _OWNER)
"""Pairs of unknowns of one segment vector."""


@dataclass(slots=True)
class Accumulator:
    """Normal equations about a state, in tangent components.

    Attributes
    ----------
    basis : ndarray, shape (T, 18, 3, 3)
        Tangent bases of the segment vectors.
    axes : ndarray, shape (T, 3, 39)
        The direction of each unknown.
    rows : list of ndarray, shape (T, m, 39 + G + 1)
        Slopes by an instant's own and by the shared unknowns, and residual, all weighted.
    system : ArrowSystem
        What does not come from such rows.
    """

    basis: FloatArray
    axes: FloatArray
    system: ArrowSystem
    rows: list[FloatArray] = field(default_factory=list)

    @classmethod
    def about(cls, vectors: FloatArray, more: int = 0) -> Accumulator:
        """Return empty equations about segment vectors (T, 18, 3), with more shared unknowns."""
        shared = _G + more
        nodes = len(vectors)
        basis = tangent_basis(vectors)
        axes = np.swapaxes(basis, 1, 2).reshape(nodes, 3, 3 * _K)[..., _KEEP]
        system = ArrowSystem(
            np.zeros((nodes, _N, _N)),
            np.zeros((max(nodes - 1, 0), _N, _N)),
            np.zeros((max(nodes - 2, 0), _N, _N)),
            np.zeros((nodes, _N, shared)),
            np.zeros((shared, shared)),
            np.zeros((nodes, _N)),
            np.zeros(shared),
        )
        return cls(basis, np.ascontiguousarray(axes), system)

    def add_rows(
        self,
        vectors: FloatArray,
        shared: FloatArray,
        points: LinearMap,
        projector: FloatArray,
        residual: FloatArray,
        by_other: FloatArray | None = None,
    ) -> FloatArray:
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

        Returns
        -------
        ndarray, shape (T, M, r, G)
            Derivative by the shared unknowns, as kept: what is added to it counts.
        """
        nodes, count, each = residual.shape
        rows = self._new_rows(count * each).reshape(nodes, count, each, -1)
        flat = np.ascontiguousarray(projector).reshape(nodes, count * each, 3)
        turned = (flat @ self.axes).reshape(nodes, count, each, _N)
        np.multiply(turned, points.at(shared)[:, None, _OWNER], out=rows[..., :_N])
        rows[..., -1] = residual
        by_shared = rows[..., _N:-1]
        active = np.flatnonzero(np.any(points.per_shared, axis=(1, 2)))
        if active.size:
            maps = points.per_shared[active].transpose(2, 1, 0).reshape(_K, -1)
            moved = np.swapaxes(vectors, 1, 2) @ maps
            moved = moved.reshape(nodes, 3, count, 1, active.size)
            by_shared[..., active] = sum(projector[..., c, None] * moved[:, c] for c in range(3))
        if by_other is not None:
            by_shared[..., BODY_SHARED:_G] = by_other
        return by_shared

    def _new_rows(self, count: int) -> FloatArray:
        rows: FloatArray = np.zeros((len(self.axes), count, _N + len(self.system.corner) + 1))
        self.rows.append(rows)
        return rows

    def add_slip(
        self,
        vectors: FloatArray,
        shared: FloatArray,
        points: LinearMap,
        weight: FloatArray,
    ) -> None:
        """Add ``weight * (point(t + 1) - point(t))``, weights of shape (T - 1, M)."""
        a = points.at(shared)
        own = np.flatnonzero(np.any(a, axis=0)[_OWNER])
        step = np.diff(vectors, axis=0)
        residual = weight[..., None] * (a @ step)
        # Rows (T - 1, M * 3, unknowns) by the instants before and after.
        moves = weight[..., None] * a[:, _OWNER[own]]
        axes = self.axes[..., own]
        slopes = [
            (moves[:, :, None, :] * part[:, None]).reshape(len(step), -1, len(own))
            for part in (axes[:-1], axes[1:])
        ]
        before, after = slopes
        active = np.flatnonzero(np.any(points.per_shared, axis=(1, 2)))
        maps = points.per_shared[active].transpose(2, 1, 0).reshape(_K, -1)
        moved = (np.swapaxes(step, 1, 2) @ maps).reshape(len(step), 3, len(a), active.size)
        jacobian = (weight[:, None, :, None] * moved).transpose(0, 2, 1, 3)
        jacobian = jacobian.reshape(len(step), -1, active.size)
        flat = residual.reshape(len(step), -1, 1)
        system = self.system
        grid = np.ix_(own, own)
        for place, sign, part in ((slice(0, -1), -1.0, before), (slice(1, None), 1.0, after)):
            pulled = np.swapaxes(part, 1, 2)
            system.diagonal[place][:, grid[0], grid[1]] += pulled @ part
            system.rhs[place][:, own] -= sign * (pulled @ flat)[..., 0]
            system.border[place][:, own[:, None], active] += sign * (pulled @ jacobian)
        system.first[:, grid[0], grid[1]] -= np.swapaxes(after, 1, 2) @ before
        every = jacobian.reshape(-1, active.size)
        system.corner[np.ix_(active, active)] += every.T @ every
        system.rhs_shared[active] -= every.T @ residual.reshape(-1)

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
        own = np.zeros((len(vectors), _K))
        pull = np.zeros(vectors.shape)
        for i in range(3):
            own[i : n + i] += w2 * stencil[:, i, None] ** 2
            pull[i : n + i] += w2[..., None] * stencil[:, i, None, None] * value
        each = np.arange(_N)
        self.system.diagonal[:, each, each] += own[:, _OWNER]
        turned = (np.swapaxes(self.basis, -1, -2) @ pull[..., None]).reshape(len(vectors), -1)
        self.system.rhs -= turned[:, _KEEP]
        next_to = np.zeros((len(vectors) - 1, _K))
        next_to[:n] += w2 * (stencil[:, 0] * stencil[:, 1])[:, None]
        next_to[1 : n + 1] += w2 * (stencil[:, 1] * stencil[:, 2])[:, None]
        self._couple(self.system.first, next_to)
        self._couple(self.system.second, w2 * (stencil[:, 0] * stencil[:, 2])[:, None])

    def _couple(self, blocks: FloatArray, weight: FloatArray) -> None:
        """Couple each segment vector with itself some instants later, alike on x, y and z."""
        apart = len(self.basis) - len(blocks)
        turns = np.swapaxes(self.basis[apart:], -1, -2) @ self.basis[:-apart]
        inside = _KEEP - 3 * _OWNER
        values = turns[:, _OWNER[_SAME_A], inside[_SAME_A], inside[_SAME_B]]
        blocks[:, _SAME_A, _SAME_B] += weight[:, _OWNER[_SAME_A]] * values

    def add_pose(
        self, slopes: dict[int, FloatArray], value: FloatArray, weight: FloatArray
    ) -> None:
        """Add one residual per instant with its slopes by a few segment vectors, (T, 3) each."""
        root = np.sqrt(weight)[:, None]
        rows = self._new_rows(1)[:, 0]
        rows[:, -1] = root[:, 0] * value
        for k, slope in slopes.items():
            rows[:, _OWN[k]] = ((root * slope)[:, None] @ self.axes[..., _OWN[k]])[:, 0]

    def add_prior(self, index: int, residual: float, derivative: float) -> None:
        """Add one weighted residual of a single shared unknown."""
        self.system.corner[index, index] += derivative**2
        self.system.rhs_shared[index] -= derivative * residual

    def add_own(self, node: int, index: int, residual: float, derivative: float) -> None:
        """Add one weighted residual of a single unknown of one instant."""
        self.system.diagonal[node, index, index] += derivative**2
        self.system.rhs[node, index] -= derivative * residual

    def add_stiffness(self, first: int, weight: float) -> None:
        """Hold the unknowns of the segment vectors from ``first`` on where they are."""
        own = np.arange(_OWN[first].start, _N)
        self.system.diagonal[:, own, own] += weight

    def equations(self) -> ArrowSystem:
        """Return the equations, rows multiplied out."""
        if self.rows:
            rows = np.concatenate(self.rows, axis=1)
            square = np.swapaxes(rows, 1, 2) @ rows
            self.rows.clear()
            system = self.system
            system.diagonal += square[:, :_N, :_N]
            system.border += square[:, :_N, _N:-1]
            system.rhs -= square[:, :_N, -1]
            total = square[:, _N:].sum(axis=0)
            system.corner += total[:-1, _N:-1]
            system.rhs_shared -= total[:-1, -1]
        return self.system
