"""Tone curves against published points and an independent colour library."""

from __future__ import annotations

import numpy as np
import pytest

from workers.video.tone import (
    DIFFUSE_WHITE,
    hlg_to_light,
    hlg_to_scene,
    light_to_srgb,
    pq_to_light,
    tone_curve,
)

SIGNAL = np.array([0.1, 0.25, 0.5, 0.58, 0.75, 0.9, 1.0])


def test_pq_agrees_with_an_independent_library() -> None:
    """Values printed by colour-science 0.4.7, ``eotf_ST2084``."""
    expected = [0.3246, 5.1542, 92.2457, 201.6663, 983.3779, 3905.6447, 10000.0]
    assert pq_to_light(SIGNAL) == pytest.approx(expected, abs=1e-4)


def test_hlg_agrees_with_an_independent_library() -> None:
    """colour-science 0.4.7: ``oetf_inverse_BT2100_HLG``, ``eotf_BT2100_HLG`` (1000 cd/m2)."""
    scene = [0.003333, 0.020833, 0.083333, 0.116963, 0.264963, 0.581838, 1.0]
    light = [1.0653, 9.6053, 50.697, 76.148, 203.1521, 522.1101, 1000.0]
    assert hlg_to_scene(SIGNAL) == pytest.approx(scene, abs=1e-6)
    assert hlg_to_light(SIGNAL) == pytest.approx(light, abs=1e-3)


def test_diffuse_white_of_both_systems_is_the_same_light() -> None:
    """ITU-R BT.2408: reference white is 203 cd/m2, 75 % HLG and 58 % PQ."""
    assert hlg_to_light(np.array([0.75])) == pytest.approx(203, rel=0.01)
    assert pq_to_light(np.array([0.58])) == pytest.approx(203, rel=0.01)


def test_light_becomes_a_screen_signal() -> None:
    assert light_to_srgb(np.array([0.0, 1000.0, 5000.0])) == pytest.approx([0, 1, 1])
    white = float(light_to_srgb(np.array([DIFFUSE_WHITE]))[0])
    assert 0.91 < white < 0.95, "room above diffuse white for highlights"


def test_ordinary_tones_are_those_of_ordinary_film() -> None:
    """sRGB of linear light: colour-science 0.4.7, ``eotf_inverse_sRGB``."""
    linear = np.array([0.1, 0.25, 0.5, 0.58])
    expected = [0.34919, 0.537099, 0.735357, 0.785777]
    assert light_to_srgb(linear * DIFFUSE_WHITE) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("transfer", ["HLG", "PQ"])
def test_curve_is_monotone_full_range_and_read_only(transfer: str) -> None:
    curve = tone_curve(transfer)
    assert curve.shape == (256,)
    assert curve.dtype == np.uint8
    assert (curve[0], curve[-1]) == (0, 255)
    assert (np.diff(curve.astype(int)) >= 0).all()
    with pytest.raises(ValueError, match="read-only"):
        curve[0] = 1


def test_only_known_transfers_have_a_curve() -> None:
    with pytest.raises(KeyError):
        tone_curve("SDR")
