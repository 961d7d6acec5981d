"""Colours of pictures, plots and pages, in one place.

Marks differ in line style as well as in colour, so no meaning rests on colour alone. The mark
colours stay apart for readers with protanopia, deuteranopia and tritanopia, and the page colours
meet WCAG 2.2 level AA; the tests compute both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

RGB = tuple[int, int, int]

INK: Final[RGB] = (24, 28, 38)
"""Text and the casing of marks."""
PAPER: Final[RGB] = (250, 249, 245)
"""Ground of text."""
MUTED: Final[RGB] = (88, 94, 108)
"""Text that steps back."""
RULE: Final[RGB] = (214, 212, 204)
"""Thin lines."""

LIMBS: Final[RGB] = (240, 240, 236)
"""Segments of the figure."""
SHOULDERS: Final[RGB] = (255, 170, 40)
"""Line of the shoulders."""
HIPS: Final[RGB] = (80, 190, 255)
"""Line of the hips."""
KNEES: Final[RGB] = (250, 240, 120)
"""Angles of the knees."""
BALANCE: Final[RGB] = (255, 105, 165)
"""Centre of mass, plumb line and base."""
OWN: Final[RGB] = (140, 240, 150)
"""A coach's own lines."""
FEET: Final[RGB] = (208, 180, 255)
"""Marks at the feet."""


@dataclass(frozen=True, slots=True)
class PageColours:
    """Colours of a page in one scheme, as CSS hexadecimal."""

    paper: str
    panel: str
    ink: str
    muted: str
    rule: str
    accent: str
    accent_soft: str
    first: str
    second: str
    changed: str
    notice: str
    notice_soft: str

    def css(self) -> str:
        """Return the colours as CSS custom properties."""
        return "".join(
            f"--{name.replace('_', '-')}:{getattr(self, name)};" for name in self.__slots__
        )


LIGHT: Final = PageColours(
    paper="#faf9f5",
    panel="#ffffff",
    ink="#181c26",
    muted="#565c6b",
    rule="#d6d4cc",
    accent="#2f4b8f",
    accent_soft="#e3e8f5",
    first="#2f4b8f",
    second="#a8470f",
    changed="#7a1f63",
    notice="#6b4300",
    notice_soft="#fbf0d9",
)

DARK: Final = PageColours(
    paper="#14171f",
    panel="#1d212c",
    ink="#eceae4",
    muted="#aab0be",
    rule="#3a4050",
    accent="#a9bdf5",
    accent_soft="#263052",
    first="#a9bdf5",
    second="#f0a878",
    changed="#eca3d6",
    notice="#f2d59a",
    notice_soft="#3a2f16",
)
