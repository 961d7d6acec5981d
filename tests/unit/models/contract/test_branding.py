"""Contrast of a club's colour, by the formula of WCAG 2.2, and the advice where it is too low."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.branding import (
    GROUND,
    LEAST_CONTRAST,
    check_colour,
    contrast,
    luminance,
    shade,
)
from models.contract.errors import InvalidRequest
from workers.report.branded import Brand, colours_of
from workers.report.palette import DARK, LIGHT

colour = st.integers(0, 0xFFFFFF).map("#{:06x}".format)


@pytest.mark.parametrize(
    ("one", "two", "ratio"),
    [
        # W3C, WCAG 2.2: black on white is 21 : 1, equal colours 1 : 1.
        ("#000000", "#ffffff", 21.0),
        ("#777777", "#777777", 1.0),
        # W3C technique G18 and its examples: #767676 is the lightest grey that passes on white.
        ("#767676", "#ffffff", 4.54),
        ("#777777", "#ffffff", 4.48),
        # Pure red on white (from memory of common contrast tables).
        ("#ff0000", "#ffffff", 4.00),
    ],
)
def test_contrast_is_that_of_wcag(one: str, two: str, ratio: float) -> None:
    assert contrast(one, two) == pytest.approx(ratio, abs=0.005)
    assert contrast(two, one) == contrast(one, two)


def test_luminance_of_the_primaries() -> None:
    # WCAG 2.2, relative luminance: 0.2126 R + 0.7152 G + 0.0722 B.
    found = [luminance(one) for one in ("#ff0000", "#00ff00", "#0000ff")]
    assert found == pytest.approx([0.2126, 0.7152, 0.0722])


def test_the_ground_is_that_of_pages_and_the_darkest_of_light_ones() -> None:
    assert LIGHT.paper == GROUND
    assert luminance(LIGHT.paper) <= luminance(LIGHT.panel)


def test_a_pale_colour_is_refused_with_the_nearest_that_can_be_read() -> None:
    check_colour(None)
    check_colour("#1d6b3c")
    with pytest.raises(InvalidRequest) as found:
        check_colour("#ffd400")
    nearest = shade("#ffd400", "#000000", GROUND)
    assert nearest in found.value.detail
    assert contrast(nearest, GROUND) >= LEAST_CONTRAST
    check_colour(nearest)


@given(colour)
def test_pages_can_be_read_in_any_colour_that_is_taken(chosen: str) -> None:
    try:
        check_colour(chosen)
    except InvalidRequest:
        assert contrast(chosen, GROUND) < LEAST_CONTRAST
        return
    light, dark = colours_of(Brand("Club", chosen))
    assert light.accent == chosen.lower()
    for scheme in (light, dark):
        for ground in (scheme.paper, scheme.panel):
            assert contrast(scheme.accent, ground) >= LEAST_CONTRAST
        assert contrast(scheme.ink, scheme.accent_soft) >= LEAST_CONTRAST


def test_without_a_colour_pages_are_as_shipped() -> None:
    assert colours_of(None) == colours_of(Brand("Club")) == (LIGHT, DARK)
