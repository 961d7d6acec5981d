"""Page cursors: they come back as they went out, and cannot be made up."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.errors import InvalidCursor
from service.api.paging import decode_cursor, encode_cursor, next_link
from service.core.keyset import Position

SECRET = b"s" * 32
MOMENTS = st.datetimes(
    min_value=datetime(2000, 1, 1), max_value=datetime(2200, 1, 1), timezones=st.just(UTC)
)


@given(MOMENTS, st.text(max_size=40))
def test_round_trip(moment: datetime, row_id: str) -> None:
    at = Position(moment, row_id)
    text = encode_cursor(SECRET, "clips", {"a": "b", "c": None}, at)
    assert decode_cursor(SECRET, "clips", {"c": None, "a": "b"}, text) == at
    for secret, scope, filters in (
        (b"t" * 32, "clips", {"a": "b"}),
        (SECRET, "analyses", {"a": "b"}),
        (SECRET, "clips", {"a": "c"}),
        (SECRET, "clips", {}),
    ):
        with pytest.raises(InvalidCursor):
            decode_cursor(secret, scope, filters, text)


@given(st.text(max_size=80))
def test_other_texts(text: str) -> None:
    with pytest.raises(InvalidCursor):
        decode_cursor(SECRET, "clips", {}, text)


@given(st.integers(0, 200), st.integers(0, 63))
def test_any_changed_letter(place: int, letter: int) -> None:
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    good = encode_cursor(SECRET, "clips", {}, Position(datetime(2026, 5, 1, tzinfo=UTC), "clip_1"))
    place %= len(good)
    changed = good[:place] + alphabet[letter] + good[place + 1 :]
    if changed != good:
        with pytest.raises(InvalidCursor):
            decode_cursor(SECRET, "clips", {}, changed)


def test_link() -> None:
    link = next_link("/v1/clips", {"external_ref": "a b&c", "none": None}, 5, "xyz")
    assert link == '</v1/clips?external_ref=a+b%26c&limit=5&cursor=xyz>; rel="next"'
