"""The client: one method a call, resources as types, lists as iterators."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Self, TypeVar

import httpx

from servewright_client.errors import NotStarted
from servewright_client.lists import pages
from servewright_client.resources import (
    Clip,
    Endpoint,
    Erasure,
    GuestLink,
    Player,
    Resource,
    Session,
    Upload,
    Work,
)
from servewright_client.transport import Transport
from servewright_client.uploads import PIECE_BYTES, Progress, Uploads, digest_of, pieces_of
from servewright_client.waiting import Watch, wait

FilePath = str | os.PathLike[str]
Kind = TypeVar("Kind", bound=Resource)


class Servewright:
    """A service, spoken to with one API key. Not to be shared between threads.

    Requests are tried again where that is safe: after a lost connection, after 429 and 5xx, as
    long as ``Retry-After`` asks. What creates something carries an ``Idempotency-Key``, so that it
    is made once.

    Parameters
    ----------
    url : str
        Base address of the service, such as ``https://serve.example.org``.
    key : str
        API key, ``sw_…``.
    timeout_s : float
        Longest wait for a part of an answer, seconds.
    tries : int
        How often a request is sent before it is given up; seven take half a minute.
    language : str or None
        Of what the service says to people: ``en`` or ``de``.
    piece_bytes : int
        Bytes of one request of an upload.
    transport, sleep
        For tests.
    """

    def __init__(
        self,
        url: str,
        key: str,
        *,
        timeout_s: float = 60.0,
        tries: int = 7,
        language: str | None = None,
        piece_bytes: int = PIECE_BYTES,
        transport: httpx.BaseTransport | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._transport = Transport(
            url,
            key,
            timeout_s=timeout_s,
            tries=tries,
            language=language,
            transport=transport,
            sleep=sleep,
        )
        self._uploads = Uploads(self._transport, piece_bytes)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._transport.close()

    # Players and sessions

    def create_player(self, external_id: str, **known: Any) -> Player:
        """Register a player under your own id; no name is needed.

        ``known``: ``handedness`` (right, left), ``height_m``, ``sex``, ``birth_year``, ``notes``.
        """
        return self._made("/v1/players", Player, {"external_id": external_id, **known})

    def players(self, **filters: Any) -> Iterator[Player]:
        """Yield players, newest first."""
        return pages(self._transport, "/v1/players", Player, filters)

    def player(self, player_id: str) -> Player:
        """Return a player."""
        return self._read(f"/v1/players/{player_id}", Player)

    def change_player(self, player: Player, **changes: Any) -> Player:
        """Change a player as it was read; None takes a value away.

        Raises ``ConflictError`` when it has changed since.
        """
        etag = player.etag or self.player(player.id).etag
        answer = self._transport.request(
            "PATCH", player.links["self"], json=changes, headers={"if-match": etag or ""}
        )
        return Player.of(answer.json(), answer.headers.get("etag"))

    def erase_player(self, player_id: str) -> Erasure:
        """Erase a player with all films and everything made from them.

        Nothing of it can be read from then on. The erasure is completed, and is the receipt then,
        once no running job can write any more and files and database are clean: see
        :meth:`erasure`, an hour or two later.
        """
        return self._erased(f"/v1/players/{player_id}", player_id)

    def create_session(
        self, player_id: str, kind: str, filmed_at: datetime, **known: Any
    ) -> Session:
        """Enter an occasion of filming: baseline, acquisition, retention, … (see the API).

        ``known``: ``drill_stage``, ``drill_id``, ``serve_speed``, ``notes``.
        """
        if filmed_at.tzinfo is None:
            raise ValueError("filmed_at needs its offset from UTC")
        body = {"kind": kind, "filmed_at": filmed_at.isoformat(), **known}
        return self._made(f"/v1/players/{player_id}/sessions", Session, body)

    def sessions(self, player_id: str, **filters: Any) -> Iterator[Session]:
        """Yield the sessions of a player, newest first."""
        return pages(self._transport, f"/v1/players/{player_id}/sessions", Session, filters)

    # Films

    def upload(
        self,
        film: FilePath,
        *,
        session_id: str | None = None,
        external_ref: str | None = None,
        progress: Progress | None = None,
        begun: Callable[[Upload], object] | None = None,
    ) -> Clip:
        """Send a film in pieces; a lost connection costs the piece that was on its way.

        Parameters
        ----------
        progress : callable or None
            Is told the bytes that arrived and the bytes in all.
        begun : callable or None
            Is told the upload as soon as it has an id: keep that, and :meth:`resume` goes on after
            a restart of your own.

        Raises
        ------
        RefusedError
            When the film was not taken.
        """
        ended = self._uploads.whole(Path(film), session_id, external_ref, None, progress, begun)
        return self.clip(str(ended.clip_id))

    def measure(
        self,
        film: FilePath,
        *,
        session_id: str | None = None,
        external_ref: str | None = None,
        progress: Progress | None = None,
        begun: Callable[[Upload], object] | None = None,
        **options: Any,
    ) -> Work:
        """Send a film like :meth:`upload`, to be measured as soon as it is in.

        ``options`` as of :meth:`analyse`. Returns the analysis.

        Raises
        ------
        NotStarted
            When the film is in, but the analysis did not begin.
        """
        ended = self._uploads.whole(Path(film), session_id, external_ref, options, progress, begun)
        if ended.analysis_id is None:
            raise NotStarted(ended)
        return self.analysis(ended.analysis_id)

    def resume(self, upload_id: str, film: FilePath, *, progress: Progress | None = None) -> Upload:
        """Go on with an upload where it stopped; its ``clip_id`` names the film that it became.

        One that has ended is only read again.
        """
        return self._uploads.send(upload_id, Path(film), progress)

    def send(
        self,
        film: FilePath,
        *,
        session_id: str | None = None,
        external_ref: str | None = None,
        media_type: str = "video/mp4",
    ) -> Clip:
        """Send a film in one request: for short ones on a good line. A lost one is sent anew."""
        path = Path(film)
        answer = self._transport.request(
            "POST",
            "/v1/clips",
            params={
                "sha256": digest_of(path),
                "session_id": session_id,
                "external_ref": external_ref,
            },
            headers={"content-type": media_type, "content-length": str(path.stat().st_size)},
            body=lambda: pieces_of(path),
        )
        return Clip.of(answer.json(), answer.headers.get("etag"))

    def clips(self, **filters: Any) -> Iterator[Clip]:
        """Yield films, newest first; ``session_id`` and others narrow."""
        return pages(self._transport, "/v1/clips", Clip, filters)

    def clip(self, clip_id: str) -> Clip:
        """Return a film's facts."""
        return self._read(f"/v1/clips/{clip_id}", Clip)

    def erase_clip(self, clip_id: str) -> Erasure:
        """Erase a film and everything made from it."""
        return self._erased(f"/v1/clips/{clip_id}", clip_id)

    def erasures(self, **filters: Any) -> Iterator[Erasure]:
        """Yield the receipts of erasures, newest first."""
        return pages(self._transport, "/v1/erasures", Erasure, filters)

    def erasure(self, erasure_id: str) -> Erasure:
        """Return how far an erasure is."""
        return self._read(f"/v1/erasures/{erasure_id}", Erasure)

    # Queued work

    def analyse(
        self,
        clip_id: str,
        *,
        same_serve: str | None = None,
        external_ref: str | None = None,
        **options: Any,
    ) -> Work:
        """Have a film measured. ``options``: ``height_m``, ``handedness``, ``view``, …

        ``same_serve`` is the clip of another film of the same serve, by a second camera 60 to 100
        degrees apart; films that are no such pair fail with ``films_no_pair``.
        """
        body: dict[str, Any] = {"clip_id": clip_id, "options": options}
        if same_serve is not None:
            body["same_serve"] = same_serve
        if external_ref is not None:
            body["external_ref"] = external_ref
        return self._made("/v1/analyses", Work, body)

    def analyses(self, **filters: Any) -> Iterator[Work]:
        """Yield analyses, newest first; ``player_id``, ``session_id``, ``status`` … narrow."""
        return pages(self._transport, "/v1/analyses", Work, filters)

    def analysis(self, analysis_id: str) -> Work:
        """Return where an analysis stands."""
        return self._read(f"/v1/analyses/{analysis_id}", Work)

    def work(self, link: str) -> Work:
        """Return where work stands, by its address: from ``links`` or a webhook."""
        return self._read(link, Work)

    def compare(self, first: Mapping[str, Any], second: Mapping[str, Any], **more: Any) -> Work:
        """Have two sides compared.

        A side is ``{"label": "before", "sessions": ["ses_…"]}`` or names ``analyses``. ``more``:
        ``focus``, ``kind``, ``film``, ``language``, …
        """
        return self._made("/v1/comparisons", Work, {"first": first, "second": second, **more})

    def progress(self, player_id: str, **more: Any) -> Work:
        """Have a player's sessions followed over time."""
        return self._made(f"/v1/players/{player_id}/progress", Work, more)

    def plan(self, player_id: str, **more: Any) -> Work:
        """Have a practice plan made."""
        return self._made(f"/v1/players/{player_id}/plans", Work, more)

    def check_drill(self, sessions: Sequence[str], **more: Any) -> Work:
        """Have the films of a drill judged by its exit criteria."""
        return self._made("/v1/drill-checks", Work, {"sessions": list(sessions), **more})

    def wait(self, work: Work, timeout_s: float = 1800.0, watch: Watch | None = None) -> Work:
        """Return work once it is completed; ask ever more seldom, or as the service says.

        Raises
        ------
        WorkFailed
            When it failed or was cancelled; ``work.problem`` says why and what to do.
        WaitedTooLong
            When it has not ended by then; it goes on.
        """
        return wait(self._transport, work, timeout_s, watch)

    def result(self, work: Work) -> dict[str, Any]:
        """Return the document that work made; its ``schema`` says which one."""
        return dict(self._transport.request("GET", work.links["result"]).json())

    def save(self, work: Resource, name: str, path: FilePath) -> Path:
        """Write a file of a resource (``report.html``, ``film.mp4``, ``content`` …) to a path.

        The path holds the whole file or is not there.
        """
        whole = Path(path)
        part = whole.with_name(f"{whole.name}.part")
        try:
            with part.open("wb") as stream:
                self._transport.stream(work.links[name], stream.write)
            part.replace(whole)
        finally:
            part.unlink(missing_ok=True)
        return whole

    # Links for people without a key

    def invite(self, label: str, consent: str, consent_version: str, **more: Any) -> GuestLink:
        """Make a link by which films come in; ``url`` is the page for whoever sends them.

        ``more``: ``player_id``, ``session_id``, ``max_films``, ``expires_in_days``, ``analyse``, …
        """
        text = {"text": consent, "version": consent_version}
        return self._made("/v1/intake-links", GuestLink, {"label": label, "consent": text, **more})

    def share(self, work: Work, files: Sequence[str] = ("report.html",), **more: Any) -> GuestLink:
        """Make a link by which files of completed work are read. ``more``: ``expires_in_days``."""
        body = {"of": work.id, "files": list(files), **more}
        return self._made("/v1/share-links", GuestLink, body)

    def revoke(self, link: GuestLink) -> None:
        """End a link at once."""
        self._transport.request("DELETE", link.links["self"])

    # Webhooks

    def create_endpoint(self, url: str, event_types: Sequence[str] = ()) -> Endpoint:
        """Register an address for events, all types or these; keep its ``secret``."""
        body = {"url": url, "event_types": list(event_types)}
        return self._made("/v1/webhook-endpoints", Endpoint, body)

    def endpoints(self, **filters: Any) -> Iterator[Endpoint]:
        """Yield the addresses that events are sent to, newest first."""
        return pages(self._transport, "/v1/webhook-endpoints", Endpoint, filters)

    def rotate_secret(self, endpoint_id: str, overlap_hours: int = 24) -> Endpoint:
        """Replace the secret; both are good until the overlap ends."""
        path = f"/v1/webhook-endpoints/{endpoint_id}/rotate-secret"
        return self._made(path, Endpoint, {"overlap_hours": overlap_hours})

    def delete_endpoint(self, endpoint_id: str) -> None:
        """Send no more events to an address."""
        self._transport.request("DELETE", f"/v1/webhook-endpoints/{endpoint_id}")

    def call(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Send any other request of the API, with the same care; ``json``, ``params``, …"""
        return self._transport.request(method, path, **more)

    def _made(self, path: str, kind: type[Kind], body: Any) -> Kind:
        answer = self._transport.request("POST", path, json=body)
        return kind.of(answer.json(), answer.headers.get("etag"))

    def _erased(self, path: str, erased_id: str) -> Erasure:
        answer = self._transport.request("DELETE", path)
        if answer.status_code == 404:  # an earlier try did it, and its answer was lost
            return next(one for one in self.erasures() if one.erased_id == erased_id)
        return Erasure.of(answer.json())

    def _read(self, path: str, kind: type[Kind]) -> Kind:
        answer = self._transport.request("GET", path)
        return kind.of(answer.json(), answer.headers.get("etag"))
