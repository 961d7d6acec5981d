"""Requests that are tried again where that is safe, and answers that are errors raised as such."""

from __future__ import annotations

import random
import time
import uuid
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any

import httpx

from servewright_client.errors import (
    NotFoundError,
    ServewrightClientError,
    UnreachableError,
    problem_of,
)

VERSION = "0.1.0"
FIRST_WAIT_S = 0.5
"""Wait before the second try, seconds; doubled for each further one (working value)."""
LONGEST_WAIT_S = 30.0
"""Longest wait of our own before a try, seconds (working value)."""
LONGEST_ASKED_S = 120.0
"""Longest ``Retry-After`` that is waited for, seconds; a longer one is the caller's to plan."""
NOT_DONE = frozenset({429, 503})
"""Answers after which nothing has happened (RFC 6585 4, RFC 9110 15.6.4)."""
PERHAPS_DONE = frozenset({500, 502, 504})
"""Answers after which only what may happen twice is sent again."""
REPEATABLE = frozenset({"GET", "HEAD", "DELETE"})
"""Methods that may be sent twice (RFC 9110 9.2.2)."""

Body = Callable[[], Iterable[bytes]]
"""Returns a body from its beginning, for each try."""


def asked_wait(response: httpx.Response) -> float | None:
    """Return the seconds that ``Retry-After`` asks for (RFC 9110 10.2.3), None without it."""
    said = response.headers.get("retry-after", "").strip()
    if said.isdecimal():
        return float(said)
    try:
        moment = parsedate_to_datetime(said)
    except ValueError:
        return None
    return max(0.0, (moment.astimezone(UTC) - datetime.now(UTC)).total_seconds())


def own_wait(tried: int) -> float:
    """Return the seconds to wait after so many tries, from half of the step to the whole."""
    step = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** (tried - 1))
    return step * random.uniform(0.5, 1.0)


class Transport:
    """Speaks to one service with one key.

    Parameters
    ----------
    url : str
        Base address of the service.
    key : str
        API key.
    tries : int
        How often a request is sent before it is given up.
    sleep : callable
        Waits so many seconds.
    """

    def __init__(
        self,
        url: str,
        key: str,
        *,
        timeout_s: float = 60.0,
        tries: int = 5,
        language: str | None = None,
        transport: httpx.BaseTransport | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        headers = {"authorization": f"Bearer {key}", "user-agent": f"servewright-client/{VERSION}"}
        if language is not None:
            headers["accept-language"] = language
        self._http = httpx.Client(
            base_url=url, headers=headers, timeout=timeout_s, transport=transport
        )
        self._tries = max(1, tries)
        self.sleep = sleep

    def close(self) -> None:
        """Close the connections."""
        self._http.close()

    def request(
        self,
        method: str,
        path: str,
        *,
        json: Any = None,
        params: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
        body: Body | None = None,
    ) -> httpx.Response:
        """Return the answer to a request.

        A POST gets an ``Idempotency-Key`` of its own, so that it may be sent again.

        Raises
        ------
        ProblemError
            For a status of 400 or more, after the last try where a repeat may help.
        UnreachableError
            When no answer came.
        """
        address = self._own(path)
        sent = dict(headers or {})
        if method == "POST":
            sent.setdefault("idempotency-key", str(uuid.uuid4()))
        repeatable = method in REPEATABLE or "idempotency-key" in sent
        query = {name: value for name, value in (params or {}).items() if value is not None}
        tried = 0
        while True:
            tried += 1
            try:
                response = self._http.request(
                    method,
                    address,
                    json=json,
                    params=query,
                    headers=sent,
                    content=None if body is None else body(),
                )
            except httpx.TransportError as error:
                if not repeatable or tried == self._tries:
                    told = f"{method} {path}: {type(error).__name__} {error}"
                    raise UnreachableError(told.strip()) from error
                self.sleep(own_wait(tried))
                continue
            if response.status_code < 400:
                return response
            refusal = problem_of(response)
            if method == "DELETE" and tried > 1 and isinstance(refusal, NotFoundError):
                return response  # the answer to an earlier try was lost
            again = response.status_code in NOT_DONE or (
                repeatable and response.status_code in PERHAPS_DONE
            )
            wait = asked_wait(response)
            if not again or tried == self._tries or (wait or 0.0) > LONGEST_ASKED_S:
                raise refusal
            self.sleep(own_wait(tried) if wait is None else wait)

    def stream(self, path: str, take: Callable[[bytes], object]) -> None:
        """Hand the body of an answer on, piece by piece. It is not tried again."""
        try:
            with self._http.stream("GET", self._own(path)) as response:
                if response.status_code >= 400:
                    response.read()
                    raise problem_of(response)
                for piece in response.iter_bytes():
                    take(piece)
        except httpx.TransportError as error:
            raise UnreachableError(f"GET {path}: {type(error).__name__} {error}") from error

    def _own(self, path: str) -> httpx.URL:
        """Return the address of a path or link; the key goes to no other host."""
        address = self._http.base_url.join(path)
        base = self._http.base_url
        if (address.scheme, address.host, address.port) != (base.scheme, base.host, base.port):
            raise ServewrightClientError(f"{address.host} is not the service this key belongs to")
        return address
