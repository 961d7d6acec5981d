"""Entity tags and ranges of RFC 9110."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from service.api.conditional import (
    Unsatisfiable,
    Whole,
    matches_strongly,
    matches_weakly,
    requested_range,
)
from service.core.objects import ByteRange

TAG = '"abc"'


@given(st.integers(1, 10_000), st.data())
def test_any_valid_range_is_the_slice(size: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(0, size - 1))
    last = data.draw(st.integers(first, size * 2))
    content = range(size)
    part = requested_range(f"bytes={first}-{last}", None, TAG, size)
    assert isinstance(part, ByteRange)
    assert content[part.first : part.last + 1] == content[first : last + 1]
    assert part.length == len(content[first : last + 1])


@given(st.integers(1, 10_000), st.integers(1, 20_000))
def test_suffix_is_the_last_bytes(size: int, length: int) -> None:
    part = requested_range(f"bytes=-{length}", None, TAG, size)
    assert isinstance(part, ByteRange)
    assert range(size)[part.first : part.last + 1] == range(size)[-length:]


@given(st.text(max_size=30), st.integers(0, 100))
def test_no_header_is_an_error(header: str, size: int) -> None:
    part = requested_range(header, None, TAG, size)
    if isinstance(part, ByteRange):
        assert 0 <= part.first <= part.last < size


def test_empty_content_has_no_ranges() -> None:
    assert requested_range("bytes=0-", None, TAG, 0) == Unsatisfiable()
    assert requested_range("bytes=-1", None, TAG, 0) == Unsatisfiable()


def test_if_range_needs_the_strong_tag() -> None:
    assert requested_range("bytes=0-0", TAG, TAG, 9) == ByteRange(0, 0)
    assert requested_range("bytes=0-0", 'W/"abc"', TAG, 9) == Whole()
    assert requested_range("bytes=0-0", "Wed, 21 Oct 2015 07:28:00 GMT", TAG, 9) == Whole()


def test_comparison_table_of_the_rfc() -> None:
    # RFC 9110, 8.8.3.2: (tag 1, tag 2, strong, weak)
    for one, two, strong, weak in (
        ('W/"1"', 'W/"1"', False, True),
        ('W/"1"', 'W/"2"', False, False),
        ('W/"1"', '"1"', False, True),
        ('"1"', '"1"', True, True),
    ):
        assert matches_strongly(one, two) == strong
        assert matches_weakly(one, two) == weak
    assert matches_weakly('"x,y", "z"', '"x,y"')
    assert not matches_weakly("", '"1"')
    assert not matches_weakly("1", '"1"')
