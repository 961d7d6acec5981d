"""Packed files come back byte for byte, and nothing else is taken for one."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.packed import pack, unpack


@given(st.binary(max_size=300))
def test_any_bytes_come_back(data: bytes) -> None:
    assert unpack(pack(data)) == data


def test_equal_bytes_give_equal_files() -> None:
    assert pack(b"weights") == pack(b"weights")


def test_half_precision_weights_shrink() -> None:
    weights = np.random.default_rng(3).normal(size=20_000).astype(np.float16).tobytes()
    assert len(pack(weights)) < 0.9 * len(weights)


def arrays(**named: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.savez(file, **named)
    return file.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no archive",
        pack(b"whole file")[:-1],
        arrays(even=np.zeros(2, np.uint8)),
        arrays(even=np.zeros(2), odd=np.zeros(2)),
        arrays(even=np.zeros(4, np.uint8), odd=np.zeros(2, np.uint8)),
        arrays(even=np.zeros((2, 1), np.uint8), odd=np.zeros((2, 1), np.uint8)),
    ],
)
def test_anything_else_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="not a packed file"):
        unpack(data)
