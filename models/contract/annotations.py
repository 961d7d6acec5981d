"""A coach's own lines on the pictures of an analysis: an open document in picture coordinates.

Coordinates are pixels of the film's upright frame, origin at its top left corner, x to the right
and y down: the same as those of the landmarks in the joints document. A mark names the picture it
belongs to; the picture shows a part of that frame.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from models.contract.base import Document, Finite
from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.refusals import Refusal, refused

SCHEMA_ID: Final = "https://servewright.example/schemas/annotations.v1.json"
PRINTABLE = r"^[^\x00-\x1f\x7f]*$"
MOST_MARKS = 60
"""Marks of one analysis (working value: a picture with ten is full)."""

Spot = Annotated[
    tuple[Annotated[Finite, Field(ge=0)], Annotated[Finite, Field(ge=0)]],
    Field(description="x and y, pixels of the film's upright frame, from its top left corner."),
]
PictureName = Annotated[
    str,
    Field(
        pattern=r"^[a-z]+-[0-9]{1,4}-[a-z-]{1,30}\.jpg$",
        description="File name of a picture of the analysis: `serve-1-loading.jpg`.",
        examples=["serve-1-loading.jpg"],
    ),
]
Colour = Annotated[
    str | None,
    Field(
        pattern=r"^#[0-9a-fA-F]{6}$",
        description="As in CSS; every stroke has a dark casing. Null = the coach's colour.",
    ),
]
Label = Annotated[str, Field(min_length=1, max_length=80, pattern=PRINTABLE)]


class PointMark(Document):
    """A spot."""

    type: Literal["point"]
    picture: PictureName
    at: Spot
    text: Label | None = None
    colour: Colour = None

    def spots(self) -> Iterator[tuple[str, Spot]]:
        """Yield every coordinate with its place in the mark."""
        yield "at", self.at


class LineMark(Document):
    """A line of two or more spots."""

    type: Literal["line"]
    picture: PictureName
    points: tuple[Spot, ...] = Field(min_length=2, max_length=40)
    arrow: bool = Field(default=False, description="With a head at its last spot.")
    text: Label | None = Field(default=None, description="Stands at its last spot.")
    colour: Colour = None

    def spots(self) -> Iterator[tuple[str, Spot]]:
        """Yield every coordinate with its place in the mark."""
        for number, spot in enumerate(self.points):
            yield f"points/{number}", spot


class AngleMark(Document):
    """An angle at a vertex; its size in the picture is written beside it."""

    type: Literal["angle"]
    picture: PictureName
    vertex: Spot
    ends: tuple[Spot, Spot]
    text: Label | None = None
    colour: Colour = None

    @model_validator(mode="after")
    def _has_arms(self) -> Self:
        if any(math.dist(self.vertex, end) < 1.0 for end in self.ends):
            raise refused(Refusal.ANGLE_WITHOUT_ARMS)
        return self

    @property
    def degrees(self) -> float:
        """The angle as it lies in the picture, 0 to 180 degrees: no angle of the body."""
        (x, y), (one, two) = self.vertex, self.ends
        turn = math.atan2(two[1] - y, two[0] - x) - math.atan2(one[1] - y, one[0] - x)
        return abs(math.degrees(math.remainder(turn, math.tau)))

    def spots(self) -> Iterator[tuple[str, Spot]]:
        """Yield every coordinate with its place in the mark."""
        yield "vertex", self.vertex
        for number, spot in enumerate(self.ends):
            yield f"ends/{number}", spot


class TextMark(Document):
    """Words at a spot, which is where they begin."""

    type: Literal["text"]
    picture: PictureName
    at: Spot
    text: Label
    colour: Colour = None

    def spots(self) -> Iterator[tuple[str, Spot]]:
        """Yield every coordinate with its place in the mark."""
        yield "at", self.at


Mark = Annotated[PointMark | LineMark | AngleMark | TextMark, Field(discriminator="type")]


class Annotations(Document):
    """A coach's own lines on the pictures of one analysis."""

    schema_id: Literal["https://servewright.example/schemas/annotations.v1.json"] = Field(
        default=SCHEMA_ID, alias="schema"
    )
    marks: tuple[Mark, ...] = Field(min_length=1, max_length=MOST_MARKS)

    def on(self, picture: str) -> tuple[Mark, ...]:
        """Return the marks of one picture, in the order in which they are drawn."""
        return tuple(mark for mark in self.marks if mark.picture == picture)


def check_fit(found: Annotations, pictures: Collection[str], width: int, height: int) -> None:
    """Refuse marks on pictures that there are not, or beside the frame.

    Parameters
    ----------
    pictures : collection of str
        File names of the analysis' pictures with numbers.
    width, height : int
        Of the film's upright frame, pixels.

    Raises
    ------
    InvalidRequest
        With the place of the first mark that does not fit.
    """
    for number, mark in enumerate(found.marks):
        if mark.picture not in pictures:
            said = say(NoteCode.NO_SUCH_PICTURE, picture=mark.picture, known=tuple(pictures))
            raise InvalidRequest(said, pointer=f"/marks/{number}/picture")
        for place, (x, y) in mark.spots():
            if x > width or y > height:
                said = say(NoteCode.MARK_OUTSIDE, x=x, y=y, width=width, height=height)
                raise InvalidRequest(said, pointer=f"/marks/{number}/{place}")
