"""Films are sent in pieces by the tus 1.0 protocol, and go on where a connection was lost."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from servewright_client.errors import (
    ConflictError,
    OverloadedError,
    Problem,
    RefusedError,
    ServewrightClientError,
    UnreachableError,
)
from servewright_client.resources import Upload
from servewright_client.transport import Transport, own_wait

PROTOCOL = {"tus-resumable": "1.0.0"}
PIECE_BYTES = 8 * 1024 * 1024
"""Bytes of one request: what a lost connection costs at most (working value)."""
READ_BYTES = 1024 * 1024
"""Bytes read at a time (working value)."""
TRIES_WITHOUT_PROGRESS = 8
"""Tries in a row that bring nothing further before an upload is given up (working value)."""
OFFSET_MISMATCH = "upload_offset_mismatch"
"""Code of the problem that says from where to go on is another place."""
NOT_TAKEN = Problem(
    code="upload_refused", title="Film not taken", status=422, detail="The film was not taken."
)
"""Stands for a reason that the service did not give."""

Progress = Callable[[int, int], object]
"""Is told the bytes that arrived and the bytes in all."""


def pieces_of(film: Path) -> Iterator[bytes]:
    """Yield the bytes of a file, piece by piece."""
    with film.open("rb") as stream:
        while piece := stream.read(READ_BYTES):
            yield piece


def digest_of(film: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal."""
    digest = hashlib.sha256()
    for piece in pieces_of(film):
        digest.update(piece)
    return digest.hexdigest()


def metadata(values: Mapping[str, str]) -> str:
    """Return an ``Upload-Metadata`` field (tus 1.0, creation)."""
    return ",".join(
        f"{name} {base64.b64encode(value.encode()).decode()}" for name, value in values.items()
    )


class Uploads:
    """Uploads of one service."""

    def __init__(self, transport: Transport, piece_bytes: int = PIECE_BYTES) -> None:
        self._transport = transport
        self._piece_bytes = piece_bytes

    def whole(
        self,
        film: Path,
        session_id: str | None,
        external_ref: str | None,
        options: Mapping[str, Any] | None,
        progress: Progress | None,
        begun: Callable[[Upload], object] | None,
    ) -> Upload:
        """Announce a film and send it; ``options`` has it measured then."""
        started = self.begin(film, session_id, external_ref, options)
        if begun is not None:
            begun(started)
        return self.send(started.id, film, progress)

    def begin(
        self,
        film: Path,
        session_id: str | None,
        external_ref: str | None,
        options: Mapping[str, Any] | None,
    ) -> Upload:
        """Announce a film."""
        said = {"sha256": digest_of(film)}
        if session_id is not None:
            said["session_id"] = session_id
        if external_ref is not None:
            said["external_ref"] = external_ref
        if options is not None:
            said["analyse"] = json.dumps(dict(options))
        answer = self._transport.request(
            "POST",
            "/v1/uploads",
            headers={
                **PROTOCOL,
                "upload-length": str(film.stat().st_size),
                "upload-metadata": metadata(said),
            },
        )
        return Upload.of(answer.json())

    def read(self, upload_id: str) -> Upload:
        """Return where an upload stands."""
        return Upload.of(self._transport.request("GET", f"/v1/uploads/{upload_id}").json())

    def send(self, upload_id: str, film: Path, progress: Progress | None = None) -> Upload:
        """Send what the service does not have yet; return the upload as it ended.

        Raises
        ------
        RefusedError
            When the film arrived and was not taken.
        GoneError
            When the upload expired.
        UnreachableError, OverloadedError
            When nothing got through in several tries; call it again later, it goes on.
        """
        length = film.stat().st_size
        state = self.read(upload_id)
        if state.length != length:
            raise ServewrightClientError(
                f"{film.name} has {length} bytes, the upload {upload_id} {state.length}"
            )
        if state.state == "receiving":
            self._send_rest(upload_id, film, state.received, progress)
        return self._ended(upload_id)

    def _send_rest(
        self, upload_id: str, film: Path, offset: int, progress: Progress | None
    ) -> None:
        length, failed = film.stat().st_size, 0
        with film.open("rb") as stream:
            while offset < length:
                stream.seek(offset)
                try:
                    reached = self._send_piece(upload_id, offset, stream.read(self._piece_bytes))
                except (UnreachableError, OverloadedError, ConflictError) as error:
                    if isinstance(error, ConflictError) and error.code != OFFSET_MISMATCH:
                        raise
                    failed += 1
                    if failed == TRIES_WITHOUT_PROGRESS:
                        raise
                    self._transport.sleep(own_wait(failed))
                    reached = self._offset(upload_id)
                if reached > offset:
                    failed = 0
                    if progress is not None:
                        progress(reached, length)
                offset = reached

    def _send_piece(self, upload_id: str, offset: int, piece: bytes) -> int:
        """Send bytes from an offset; return the offset that the service has reached."""
        answer = self._transport.request(
            "PATCH",
            f"/v1/uploads/{upload_id}",
            headers={
                **PROTOCOL,
                "upload-offset": str(offset),
                "content-type": "application/offset+octet-stream",
                "content-length": str(len(piece)),
            },
            body=lambda: [piece],
        )
        return int(answer.headers["upload-offset"])

    def _offset(self, upload_id: str) -> int:
        """Return how far the service has got."""
        answer = self._transport.request("HEAD", f"/v1/uploads/{upload_id}", headers=PROTOCOL)
        return int(answer.headers["upload-offset"])

    def _ended(self, upload_id: str) -> Upload:
        """Return an upload of which all bytes have arrived, once it has been looked at."""
        for tried in range(1, TRIES_WITHOUT_PROGRESS + 1):
            state = self.read(upload_id)
            if state.state == "refused":
                raise RefusedError(state.problem or NOT_TAKEN)
            if state.state == "finished":
                return state
            self._transport.sleep(own_wait(tried))
        raise ServewrightClientError(f"{upload_id} arrived, but is still {state.state}")
