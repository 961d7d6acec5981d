"""Contrast and colour vision, computed from the palette."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from workers.report.palette import (
    BALANCE,
    DARK,
    FEET,
    HIPS,
    INK,
    KNEES,
    LIGHT,
    MUTED,
    PAPER,
    SHOULDERS,
)

MARKS = (SHOULDERS, HIPS, KNEES, BALANCE)


def _linear(channel):
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


def luminance(rgb):
    """Relative luminance, WCAG 2.2."""
    r, g, b = (_linear(c / 255) for c in rgb)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, two):
    """Contrast ratio, WCAG 2.2."""
    a, b = sorted((luminance(one), luminance(two)), reverse=True)
    return (a + 0.05) / (b + 0.05)


def rgb(text):
    return tuple(int(text[i : i + 2], 16) for i in (1, 3, 5))


def test_the_contrast_formula_gives_known_ratios():
    # W3C, WCAG 2.x: black on white is 21; #767676 on white is the lightest grey that passes 4.5.
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast(rgb("#767676"), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)
    assert contrast(rgb("#777777"), (255, 255, 255)) < 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("text", "ground"),
    [(text, ground)
     for text in ("ink", "muted", "accent", "changed")
     for ground in ("paper", "panel")]
    + [("ink", "accent_soft"), ("muted", "accent_soft"), ("notice", "notice_soft")],
)  # fmt: skip
def test_text_meets_aa(scheme, text, ground):
    assert contrast(rgb(getattr(scheme, text)), rgb(getattr(scheme, ground))) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("line", ["first", "second", "accent", "ink", "muted"])
def test_lines_of_plots_meet_the_limit_for_graphics(scheme, line):
    assert contrast(rgb(getattr(scheme, line)), rgb(scheme.panel)) >= 3
    assert contrast(rgb(getattr(scheme, line)), rgb(scheme.paper)) >= 3


def test_picture_text_and_marks_meet_aa_on_their_casing():
    assert contrast(INK, PAPER) >= 4.5
    assert contrast(MUTED, PAPER) >= 4.5
    for colour in (*MARKS, FEET):
        assert contrast(colour, INK) >= 4.5


# Simulation of full dichromacy: Machado, Oliveira & Fernandes 2009, IEEE Trans Vis Comput Graph
# 15(6):1291-1298, severity 1.0, on linear RGB (matrices from memory).
DICHROMACY = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                   [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                     [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                   [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def _lab(rgb_values, matrix=None):
    """CIE 1976 L*a*b*, D65, of an sRGB colour seen through a matrix."""
    linear = np.array([_linear(c / 255) for c in rgb_values])
    if matrix is not None:
        linear = np.clip(np.array(matrix) @ linear, 0, 1)
    xyz = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                    [0.0193339, 0.1191920, 0.9503041]]) @ linear  # fmt: skip
    t = xyz / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_lab_gives_known_values():
    # sRGB red in CIE L*a*b* (D65): 53.24, 80.09, 67.20 (widely published value, from memory).
    assert _lab((255, 0, 0)) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)


def test_the_rows_of_the_simulation_keep_white_white():
    for matrix in DICHROMACY.values():
        assert np.sum(matrix, axis=1) == pytest.approx([1, 1, 1], abs=1e-4)


@pytest.mark.parametrize("vision", [None, *DICHROMACY])
def test_the_marks_stay_apart_for_every_kind_of_colour_vision(vision):
    matrix = DICHROMACY.get(vision)
    for one, two in combinations(MARKS, 2):
        # A difference of 10 is far beyond the 2.3 that is just noticeable (CIE76).
        assert np.linalg.norm(_lab(one, matrix) - _lab(two, matrix)) > 10


def test_marks_that_are_alike_in_hue_differ_in_line_style():
    from workers.report.marks import LINE

    assert LINE["hips"][1] != LINE["balance"][1]
    assert len({style for _, style in LINE.values()}) == 3
    assert {HIPS, KNEES, BALANCE} <= {colour for colour, _ in LINE.values()}
