"""A coach's own lines as a document: what fits a picture, what an angle in it is."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from models.contract.annotations import AngleMark, Annotations, check_fit
from models.contract.errors import InvalidRequest

PICTURE = "serve-1-loading.jpg"
POINT = {"type": "point", "picture": PICTURE, "at": [10, 20]}
pixel = st.floats(0, 2000, allow_nan=False)


def _lines(*marks: dict) -> Annotations:
    return Annotations.model_validate({"marks": list(marks)})


@given(st.tuples(pixel, pixel), st.floats(0, 359), st.floats(5, 175), st.floats(20, 900))
def test_an_angle_is_the_one_between_its_arms(vertex, first, between, length) -> None:
    vertex = (vertex[0] + 1000, vertex[1] + 1000)
    ends = [
        (vertex[0] + length * math.cos(a), vertex[1] + length * math.sin(a))
        for a in (math.radians(first), math.radians(first + between))
    ]
    mark = {"type": "angle", "picture": PICTURE, "vertex": vertex, "ends": ends}
    assert AngleMark.model_validate(mark).degrees == pytest.approx(between, abs=1e-6)


@pytest.mark.parametrize(
    "mark",
    [
        POINT | {"type": "circle"},
        POINT | {"at": [-1, 5]},
        POINT | {"at": [1, 5, 6]},
        POINT | {"at": [float("nan"), 5]},
        POINT | {"colour": "red"},
        POINT | {"picture": "../../film.jpg"},
        POINT | {"more": 1},
        {"type": "line", "picture": PICTURE, "points": [[1, 1]]},
        {"type": "angle", "picture": PICTURE, "vertex": [1, 1], "ends": [[1, 1], [9, 9]]},
        {"type": "text", "picture": PICTURE, "at": [1, 1], "text": "a\x00b"},
    ],
)
def test_what_is_no_mark_is_refused(mark: dict) -> None:
    with pytest.raises(ValidationError):
        _lines(mark)


def test_marks_must_lie_on_a_picture_there_is_and_within_its_frame() -> None:
    check_fit(_lines(POINT), [PICTURE], 10, 20)
    with pytest.raises(InvalidRequest) as found:
        check_fit(_lines(POINT), [PICTURE], 9, 20)
    assert found.value.extra["pointer"] == "/marks/0/at"
    assert "9 × 20" in found.value.detail
    with pytest.raises(InvalidRequest) as found:
        check_fit(_lines(POINT, POINT | {"picture": "serve-2-contact.jpg"}), [PICTURE], 99, 99)
    assert found.value.extra["pointer"] == "/marks/1/picture"
    assert PICTURE in found.value.detail


def test_reading_what_was_written_gives_the_same() -> None:
    lines = _lines(POINT, {"type": "text", "picture": PICTURE, "at": [3, 4], "text": "Höher!"})
    assert Annotations.model_validate_json(lines.model_dump_json(by_alias=True)) == lines
    assert lines.on(PICTURE) == lines.marks
    assert lines.on("serve-1-contact.jpg") == ()
