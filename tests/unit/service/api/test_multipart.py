"""The form reader, fed in any pieces."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.contract.errors import RequestError
from service.api.multipart import FileBegins, FormReader

TYPE = "multipart/form-data; boundary=frontier"


def body(content: bytes, note: str = "note") -> bytes:
    return (
        b'--frontier\r\nContent-Disposition: form-data; name="note"\r\n\r\n'
        + note.encode()
        + b'\r\n--frontier\r\nContent-Disposition: form-data; name="file"; filename="a"\r\n'
        + b"Content-Type: video/mp4\r\n\r\n"
        + content
        + b"\r\n--frontier--\r\n"
    )


def reader() -> FormReader:
    return FormReader(TYPE, "file", frozenset({"note"}))


@given(
    st.one_of(
        st.binary(max_size=400),
        # near misses of the boundary, where readers go wrong
        st.lists(st.sampled_from([b"\r\n", b"--", b"frontier", b"-", b"\r", b"\n"])).map(b"".join),
    ).filter(lambda content: b"\r\n--frontier" not in b"\r\n" + content),
    st.lists(st.integers(0, 600), max_size=12),
)
def test_any_content_in_any_pieces(content: bytes, cuts: list[int]) -> None:
    whole = body(content)
    marks = [0, *sorted(min(cut, len(whole)) for cut in cuts), len(whole)]
    form, got = reader(), b""
    for start, end in pairwise(marks):
        for piece in form.feed(whole[start:end]):
            if isinstance(piece, FileBegins):
                assert piece.media_type == "video/mp4"
            else:
                got += piece
    form.finish()
    assert got == content
    assert form.fields == {"note": "note"}


def read(whole: bytes) -> None:
    form = reader()
    form.feed(whole)
    form.finish()


@given(st.binary(max_size=300))
def test_rubbish_is_a_typed_error(rubbish: bytes) -> None:
    with pytest.raises(RequestError):
        read(rubbish)


@given(st.integers(0, 200))
def test_cut_short_is_a_typed_error(length: int) -> None:
    whole = body(b"content of a film")
    with pytest.raises(RequestError):
        read(whole[: min(length, len(whole) - 6)])


def test_an_unknown_field_is_told_the_known_ones() -> None:
    misspelt = body(b"film").replace(b'name="file"', b'name="fiel"')
    with pytest.raises(RequestError, match="Known: file, note"):
        reader().feed(misspelt)
