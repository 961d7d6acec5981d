"""The arrow solver against dense linear algebra (numpy) on random systems."""

from __future__ import annotations

import numpy as np
import pytest

from workers.engine.fit.arrow import ArrowSystem, Factor


def dense_and_arrow(nodes: int, n: int, shared: int, seed: int) -> tuple[ArrowSystem, np.ndarray]:
    rng = np.random.default_rng(seed)
    size = nodes * n + shared
    root = np.zeros((size, size))
    for t in range(nodes):
        root[t * n : (t + 1) * n, t * n : min(t + 3, nodes) * n] = rng.normal(
            size=(n, min(t + 3, nodes) * n - t * n)
        )
        root[t * n : (t + 1) * n, nodes * n :] = rng.normal(size=(n, shared))
    root[nodes * n :, nodes * n :] = rng.normal(size=(shared, shared))
    full = root.T @ root + 3.0 * np.eye(size)
    # Keep the band of two neighbouring blocks only; diagonal dominance keeps it definite.
    for a in range(nodes):
        for b in range(nodes):
            if abs(a - b) > 2:
                full[a * n : (a + 1) * n, b * n : (b + 1) * n] = 0.0
    full += 50.0 * size * np.eye(size)
    rhs = rng.normal(size=size)
    cut = nodes * n

    def block(a: int, b: int) -> np.ndarray:
        return full[a * n : (a + 1) * n, b * n : (b + 1) * n]

    system = ArrowSystem(
        np.stack([block(t, t) for t in range(nodes)]),
        np.array([block(t + 1, t) for t in range(nodes - 1)]).reshape(-1, n, n),
        np.array([block(t + 2, t) for t in range(nodes - 2)]).reshape(-1, n, n),
        full[:cut, cut:].reshape(nodes, n, shared),
        full[cut:, cut:],
        rhs[:cut].reshape(nodes, n),
        rhs[cut:],
    )
    return system, full


@pytest.mark.parametrize("nodes", [1, 2, 3, 4, 6, 7])
@pytest.mark.parametrize("seed", range(2))
def test_step_is_that_of_a_dense_solver(nodes: int, seed: int) -> None:
    system, full = dense_and_arrow(nodes, 4, 3, seed)
    time, shared = system.solve()
    rhs = np.concatenate([system.rhs.ravel(), system.rhs_shared])
    expected = np.linalg.solve(full, rhs)
    np.testing.assert_allclose(np.concatenate([time.ravel(), shared]), expected, rtol=1e-9)


@pytest.mark.parametrize("nodes", [4, 5])
def test_samples_have_the_inverse_as_covariance(nodes: int) -> None:
    system, full = dense_and_arrow(nodes, 2, 2, 7)
    time, shared = Factor.of(system).sample(60_000, np.random.default_rng(1))
    draws = np.concatenate([time.reshape(len(time), -1), shared], axis=1)
    scale = np.sqrt(np.diag(np.linalg.inv(full)))
    off = (np.cov(draws.T) - np.linalg.inv(full)) / np.outer(scale, scale)
    assert np.abs(off).max() < 0.03


def test_an_indefinite_system_is_refused() -> None:
    system, _ = dense_and_arrow(4, 2, 2, 0)
    system.diagonal -= 1e6 * np.eye(2)
    with pytest.raises(np.linalg.LinAlgError):
        Factor.of(system)
