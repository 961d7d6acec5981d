"""A multipart/form-data reader in constant memory: file bytes are handed on as they arrive.

The framework's own form parser spools every file to disk before the handler runs, which is too
late for limits and costs a second copy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from models.contract.errors import InvalidRequest, MalformedRequest, UnsupportedMediaType
from models.contract.note_codes import NoteCode, say

MAX_FIELD_BYTES = 1024
"""Longest form field other than the file, bytes, unless told otherwise."""


@dataclass(frozen=True, slots=True)
class FileBegins:
    """A file part begins."""

    name: str
    media_type: str


Piece = FileBegins | bytes


class FormReader:
    """Feeds on body chunks; yields the file, collects the small fields.

    Parameters
    ----------
    content_type : str
        The request's Content-Type, with its boundary.
    file_field : str
        Name of the one file part.
    allowed_fields : frozenset of str
        Names of the other fields; anything else is refused.
    longest_field : int
        Bytes that one of them may have.
    """

    def __init__(
        self,
        content_type: str,
        file_field: str,
        allowed_fields: frozenset[str],
        longest_field: int = MAX_FIELD_BYTES,
    ) -> None:
        kind, options = parse_options_header(content_type)
        boundary = options.get(b"boundary", b"")
        if kind != b"multipart/form-data":
            raise UnsupportedMediaType()
        if not boundary or len(boundary) > 70:  # RFC 2046 5.1.1
            raise MalformedRequest(say(NoteCode.MULTIPART_BOUNDARY))
        self.fields: dict[str, str] = {}
        self.file_seen = False
        self.ended = False
        self._file_field = file_field
        self._allowed = allowed_fields
        self._longest = longest_field
        self._pieces: list[Piece] = []
        self._header = (bytearray(), bytearray())
        self._headers: dict[bytes, bytes] = {}
        self._name = ""
        self._in_file = False
        self._value = bytearray()
        self._parser = MultipartParser(
            boundary,
            {
                "on_part_begin": self._part_begin,
                "on_header_begin": self._header_begin,
                "on_header_field": self._collect(self._header[0]),
                "on_header_value": self._collect(self._header[1]),
                "on_header_end": self._header_end,
                "on_headers_finished": self._headers_finished,
                "on_part_data": self._part_data,
                "on_part_end": self._part_end,
                "on_end": self._end,
            },
        )

    def feed(self, chunk: bytes) -> list[Piece]:
        """Return what a chunk of the body brought."""
        try:
            self._parser.write(chunk)
        except FormParserError:
            raise MalformedRequest(say(NoteCode.MULTIPART_BROKEN)) from None
        pieces, self._pieces = self._pieces, []
        return pieces

    def finish(self) -> None:
        """Check that the body was whole."""
        try:
            self._parser.finalize()
        except FormParserError:
            raise MalformedRequest(say(NoteCode.MULTIPART_BROKEN)) from None
        if not self.ended:
            raise MalformedRequest(say(NoteCode.MULTIPART_CUT))
        if not self.file_seen:
            raise InvalidRequest(
                say(NoteCode.FILM_FIELD_MISSING, field=self._file_field),
                pointer=f"/{self._file_field}",
            )

    @staticmethod
    def _collect(target: bytearray) -> Callable[[bytes, int, int], None]:
        def collect(data: bytes, start: int, end: int) -> None:
            target.extend(data[start:end])

        return collect

    def _part_begin(self) -> None:
        self._headers = {}
        self._value.clear()

    def _header_begin(self) -> None:
        for part in self._header:
            part.clear()

    def _header_end(self) -> None:
        name, value = self._header
        self._headers[bytes(name).lower()] = bytes(value)

    def _headers_finished(self) -> None:
        kind, options = parse_options_header(self._headers.get(b"content-disposition", b""))
        if kind != b"form-data" or b"name" not in options:
            raise MalformedRequest(say(NoteCode.FORM_PART_UNNAMED))
        self._name = options[b"name"].decode("utf-8", "replace")
        self._in_file = self._name == self._file_field
        if self._in_file:
            if self.file_seen:
                raise InvalidRequest(
                    say(NoteCode.ONE_FILM_A_REQUEST), pointer=f"/{self._file_field}"
                )
            self.file_seen = True
            media_type = self._headers.get(b"content-type", b"application/octet-stream")
            self._pieces.append(FileBegins(self._name, media_type.decode("latin-1")))
        elif self._name not in self._allowed:
            known = ", ".join(sorted({self._file_field, *self._allowed}))
            raise InvalidRequest(say(NoteCode.FORM_FIELD_UNKNOWN, known=known))

    def _part_data(self, data: bytes, start: int, end: int) -> None:
        if self._in_file:
            self._pieces.append(bytes(data[start:end]))
            return
        self._value.extend(data[start:end])
        if len(self._value) > self._longest:
            raise InvalidRequest(say(NoteCode.FORM_FIELD_TOO_LONG), pointer=f"/{self._name}")

    def _part_end(self) -> None:
        if self._in_file:
            return
        if self._name in self.fields:
            raise InvalidRequest(say(NoteCode.FORM_FIELD_TWICE), pointer=f"/{self._name}")
        try:
            self.fields[self._name] = self._value.decode()
        except UnicodeDecodeError:
            raise InvalidRequest(
                say(NoteCode.FORM_FIELD_NOT_UTF8), pointer=f"/{self._name}"
            ) from None

    def _end(self) -> None:
        self.ended = True
