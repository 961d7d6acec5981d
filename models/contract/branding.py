"""The look of an organisation on its pages: name, logo, colour."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Final

from pydantic import Field

from models.contract.base import Document
from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.resources import PRINTABLE_PATTERN, Links

Hex = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$", description="As in CSS: `#2f4b8f`.")]
GROUND: Final = "#faf9f5"
"""Ground of light pages, the darkest that the colour of links and headings stands on there."""
LEAST_CONTRAST: Final = 4.5
"""Of text and its ground (WCAG 2.2, success criterion 1.4.3, level AA)."""
_STEPS = 256
"""Shades that are tried: as many as a channel has values, no unit."""


class BrandingRequest(Document):
    """How the pages of an organisation look."""

    name: Annotated[str, Field(min_length=1, max_length=80, pattern=PRINTABLE_PATTERN)]
    colour: Hex | None = Field(
        default=None,
        description="Of links, marks and lines; at least 4.5 : 1 against the page (WCAG 2.2, "
        "1.4.3). On dark screens a lighter shade of it is taken. Null = as pages are.",
    )


class BrandingResource(Document):
    """The look of an organisation's pages; all null = as they are shipped."""

    name: str | None
    colour: Hex | None
    contrast: float | None = Field(description="Of the colour against the page; 21 at most.")
    logo: str | None = Field(description="Type of the logo file: `image/png` or `image/jpeg`.")
    updated_at: datetime | None
    links: Links = Field(default_factory=dict)


def luminance(colour: str) -> float:
    """Return the relative luminance of a CSS hexadecimal colour (WCAG 2.2, glossary)."""

    def linear(part: str) -> float:
        c = int(part, 16) / 255
        return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4

    r, g, b = (linear(colour[i : i + 2]) for i in (1, 3, 5))
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, two: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, glossary)."""
    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def shade(colour: str, towards: str, ground: str, least: float = LEAST_CONTRAST) -> str:
    """Return the colour nearest to this one on the way to another that stands out on a ground."""
    for step in range(_STEPS + 1):
        found = mixed(colour, towards, step / _STEPS)
        if contrast(found, ground) >= least:
            return found
    return towards


def mixed(one: str, two: str, share: float) -> str:
    """Return one colour with a share of another in it."""
    parts = zip(*([int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in (one, two)), strict=True)
    return "#" + "".join(f"{round(a + share * (b - a)):02x}" for a, b in parts)


def check_colour(colour: str | None) -> None:
    """Refuse a colour that cannot be read on a page, and name the nearest that can.

    Raises
    ------
    InvalidRequest
        Its contrast against the page is under 4.5 : 1.
    """
    if colour is None or (ratio := contrast(colour, GROUND)) >= LEAST_CONTRAST:
        return
    nearest = shade(colour, "#000000", GROUND)
    said = say(
        NoteCode.COLOUR_TOO_PALE, colour=colour, ratio=ratio, least=LEAST_CONTRAST, nearest=nearest
    )
    raise InvalidRequest(said, pointer="/colour")
