"""What can go wrong, as types: branch on the class or on ``code``, show ``detail`` to people.

::

    ServewrightClientError
    ├── ProblemError        the service answered with a problem document (RFC 9457)
    │   ├── RefusedError    400, 413, 415, 416, 422, 460: the request must be another one
    │   ├── DeniedError     401, 403: the key is wrong, or not enough, or a limit is reached
    │   ├── NotFoundError   404
    │   ├── ConflictError   409, 412, 428: the state of things does not allow it
    │   ├── GoneError       410: it was there and is over
    │   └── OverloadedError 429, 5xx, after all tries
    ├── UnreachableError    no answer, after all tries
    ├── NotStarted          a film arrived, but the analysis asked for with it did not begin
    ├── WorkFailed          an analysis or document ended without a result
    ├── WaitedTooLong       it has not ended yet
    └── SignatureError      a webhook that this service did not sign
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

import httpx

if TYPE_CHECKING:
    from servewright_client.resources import Upload, Work


class ServewrightClientError(Exception):
    """Anything that this package raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """A problem document (RFC 9457) with the service's extensions.

    Attributes
    ----------
    code : str
        Stable: branch on it.
    detail : str
        What happened and what to do about it, in the language that was asked for.
    detail_code : str or None
        Finer than ``code``.
    parameters : mapping
        What ``detail`` names.
    errors : tuple of mapping
        Invalid places of the request: ``pointer``, ``detail``, ``code``.
    about : str or None
        Id of the resource in question, such as the one that is in the way of a new one.
    request_id : str or None
        Name it when you ask the operator.
    """

    code: str
    title: str
    status: int
    detail: str
    detail_code: str | None = None
    parameters: Mapping[str, Any] = field(default_factory=dict)
    errors: tuple[Mapping[str, Any], ...] = ()
    about: str | None = None
    request_id: str | None = None
    stage: str | None = None

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Self:
        """Return the problem in a JSON document; members that are not known are left out."""
        return cls(
            code=str(document.get("code", "unknown")),
            title=str(document.get("title", "")),
            status=int(document.get("status", 0)),
            detail=str(document.get("detail", "")),
            detail_code=document.get("detail_code"),
            parameters=dict(document.get("parameters") or {}),
            errors=tuple(document.get("errors") or ()),
            about=document.get("about"),
            request_id=document.get("request_id"),
            stage=document.get("stage"),
        )


class ProblemError(ServewrightClientError):
    """The service refused a request."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(f"{problem.code} ({problem.status}): {problem.detail}")
        self.problem = problem

    @property
    def code(self) -> str:
        """Stable code of the problem."""
        return self.problem.code

    @property
    def about(self) -> str | None:
        """Id of the resource in question."""
        return self.problem.about


class RefusedError(ProblemError):
    """The request must be another one: ``problem.errors`` says where it is wrong."""


class DeniedError(ProblemError):
    """The key is missing, not valid, or not enough; or a limit of the organisation is reached."""


class NotFoundError(ProblemError):
    """Nothing is there, or nothing that this key may see."""


class ConflictError(ProblemError):
    """The present state does not allow this. Read it again and decide."""


class GoneError(ProblemError):
    """It was there and is over: an upload that expired, a link that was revoked."""


class OverloadedError(ProblemError):
    """Too many requests, or a part of the service is away. It was tried several times."""


class UnreachableError(ServewrightClientError):
    """No answer. It was tried several times."""


class NotStarted(ServewrightClientError):
    """A film arrived, but the analysis that was asked for with it did not begin.

    Attributes
    ----------
    upload : Upload
        ``upload.clip_id`` names the film, for :meth:`Servewright.analyse`; ``upload.problem`` says
        why, and what to do.
    """

    def __init__(self, upload: Upload) -> None:
        reason = upload.problem.detail if upload.problem else "No reason was given."
        super().__init__(f"{upload.clip_id} is in, but its analysis did not begin. {reason}")
        self.upload = upload


class WorkFailed(ServewrightClientError):
    """Work ended without a result.

    Attributes
    ----------
    work : Work
        As it ended; ``work.problem`` says why and what to do, None when it was cancelled.
    """

    def __init__(self, work: Work) -> None:
        reason = work.problem.detail if work.problem else "It was cancelled."
        super().__init__(f"{work.id} {work.status}: {reason}")
        self.work = work


class WaitedTooLong(ServewrightClientError):
    """Work has not ended yet; it goes on. Wait again, or take the webhook."""

    def __init__(self, work: Work, seconds: float) -> None:
        super().__init__(f"{work.id} is still {work.status} after {seconds:.0f} s")
        self.work = work


class SignatureError(ServewrightClientError):
    """A webhook is too old, changed on its way, or was not signed with any of the secrets."""


_BY_STATUS: Mapping[int, type[ProblemError]] = {
    401: DeniedError,
    403: DeniedError,
    404: NotFoundError,
    409: ConflictError,
    410: GoneError,
    412: ConflictError,
    428: ConflictError,
    429: OverloadedError,
}


def problem_of(response: httpx.Response) -> ProblemError:
    """Return the error that an answer states. A proxy's page becomes a problem, too."""
    try:
        document = json.loads(response.content)
    except ValueError:
        document = None
    if not isinstance(document, dict) or "code" not in document:
        document = {
            "code": "not_a_problem_document",
            "title": response.reason_phrase,
            "detail": f"{response.request.method} {response.request.url.path} was answered with "
            f"{response.status_code}, not by the service itself. Is a proxy in between?",
        }
    problem = Problem.of({**document, "status": response.status_code})
    usual = OverloadedError if response.status_code >= 500 else RefusedError
    return _BY_STATUS.get(response.status_code, usual)(problem)
