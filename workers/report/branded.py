"""A page in the look of an organisation: its colour in both schemes, its logo and name."""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace

from models.contract.branding import LEAST_CONTRAST, contrast, mixed, shade
from workers.report.palette import DARK, LIGHT, PageColours

SOFT = 0.88
"""Share of the panel's colour in the ground of what is set apart (working value, as shipped)."""


@dataclass(frozen=True, slots=True)
class Brand:
    """The look of an organisation.

    Attributes
    ----------
    colour : str or None
        CSS hexadecimal, of enough contrast on light pages.
    logo : bytes or None
        PNG or JPEG, of ``logo_type``.
    """

    name: str
    colour: str | None = None
    logo: bytes | None = None
    logo_type: str | None = None

    @property
    def source(self) -> str | None:
        """The logo as an address that holds it."""
        if self.logo is None:
            return None
        return f"data:{self.logo_type};base64,{base64.b64encode(self.logo).decode('ascii')}"


def colours_of(brand: Brand | None) -> tuple[PageColours, PageColours]:
    """Return the colours of light and dark pages.

    Where the colour is not readable enough on a ground of the scheme, its nearest lighter (dark
    pages) or darker shade (light ones) is taken.
    """
    if brand is None or brand.colour is None:
        return LIGHT, DARK
    return (
        _in_scheme(LIGHT, brand.colour, "#000000"),
        _in_scheme(DARK, brand.colour, "#ffffff"),
    )


def _in_scheme(scheme: PageColours, colour: str, towards: str) -> PageColours:
    for ground in (scheme.paper, scheme.panel):
        colour = shade(colour, towards, ground)
    soft = mixed(colour, scheme.panel, SOFT)
    # Words on the soft ground stay as readable as on the page.
    while contrast(scheme.ink, soft) < LEAST_CONTRAST:
        soft = mixed(soft, scheme.panel, 0.5)
    return replace(scheme, accent=colour, accent_soft=soft)
