"""Problem details (RFC 9457): one shape for HTTP errors, failed analyses and film problems."""

from __future__ import annotations

from typing import Self

from pydantic import Field

from models.contract.base import Document
from models.contract.errors import ServewrightError
from models.contract.note import WRITTEN, Note, Parameter, written
from models.contract.vocabulary import Severity
from models.words import Words

PROBLEM_BASE = "/problems/"
"""Problem types are relative references; each resolves to a page that says what to do."""


class FieldError(Document):
    """One invalid place in a request."""

    pointer: str = Field(description="JSON pointer (RFC 6901) or parameter name.")
    detail: str
    code: str | None = Field(
        default=None, description="Stable code of what is wrong with the value, where there is one."
    )


class Problem(Document):
    """An RFC 9457 problem, with extensions: ``code``, ``about``, ``errors`` and more."""

    type: str = Field(description="URI reference of a page that explains this kind of problem.")
    title: str
    status: int = Field(ge=400, le=599)
    detail: str = Field(description="What happened here and what to do about it.")
    instance: str | None = None
    code: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="Stable machine-readable code.")
    severity: Severity = Severity.BLOCKING
    request_id: str | None = None
    about: str | None = Field(
        default=None,
        description="Of a conflict: id of what stands in the way (for a repeated request its "
        "Idempotency-Key). Of an analysis of two films: the second film, where the problem is its.",
    )
    stage: str | None = Field(default=None, description="Pipeline stage in which it arose.")
    errors: tuple[FieldError, ...] = ()
    detail_code: str | None = Field(
        default=None,
        pattern=r"^[a-z][a-z0-9_]*$",
        description="Code of the words in `detail`, finer than `code`; null where somebody wrote "
        "them. Their wording in each language: GET /v1/words/{language}.",
    )
    parameters: dict[str, Parameter] = Field(
        default_factory=dict, description="What `detail` names."
    )

    @classmethod
    def of(
        cls,
        error: ServewrightError,
        *,
        severity: Severity = Severity.BLOCKING,
        instance: str | None = None,
        request_id: str | None = None,
        stage: str | None = None,
        errors: tuple[FieldError, ...] = (),
    ) -> Self:
        """Return the problem that states an error."""
        return cls(
            type=f"{PROBLEM_BASE}{error.code}",
            title=error.title,
            status=error.status,
            detail=error.detail,
            code=error.code,
            severity=severity,
            instance=instance,
            request_id=request_id,
            about=error.extra.get("about"),
            stage=stage,
            errors=errors,
            detail_code=None if error.note.code == WRITTEN else error.note.code,
            parameters=error.note.parameters,
        )

    def said_in(self, words: Words) -> Self:
        """Return the problem in the words of another language, where it has a code."""
        if self.detail_code is None:
            return self.model_copy(update={"title": words(f"title.{self.code}")})
        return self.model_copy(
            update={"title": words(f"title.{self.code}"), "detail": words.note(self.note)}
        )

    @property
    def note(self) -> Note:
        """What happened, as a note."""
        if self.detail_code is None:
            return written(self.detail)
        return Note(code=self.detail_code, parameters=self.parameters, text=self.detail)
