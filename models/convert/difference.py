"""How far two answers of a network lie apart, in the part that anybody uses."""

from __future__ import annotations

import numpy as np

SURE_PERSON, SURE_JOINT = 0.25, 0.2
"""Scores from which the pose stage uses a find, and a joint of it."""


def largest_gap(_head: str, got: np.ndarray, expected: np.ndarray) -> float:
    """Largest absolute difference of any two numbers of a head."""
    return float(np.abs(got - expected).max())


def used_gap(head: str, got: np.ndarray, expected: np.ndarray) -> float:
    """Largest difference of what is used of a head whose weights were rounded.

    Of ``people`` (1, 6, 56) these are the places of people and joints that the source is sure
    of: rows that hold nobody, and joints that are not seen, jump with the last bit of a weight.
    Infinite if the two do not see the same number of people. Of other heads it is everything.
    """
    if head != "people":
        return largest_gap(head, got, expected)
    sure = expected[0, :, 55] >= SURE_PERSON
    if not np.array_equal(sure, got[0, :, 55] >= SURE_PERSON):
        return float("inf")
    gap = np.abs(got - expected)[0, sure]
    joints = gap[:, :51].reshape(-1, 17, 3)[..., :2]
    seen = expected[0, sure, :51].reshape(-1, 17, 3)[..., 2] >= SURE_JOINT
    return float(max(joints[seen].max(initial=0.0), gap[:, 51:55].max(initial=0.0)))
