"""The root of the error tree."""

from __future__ import annotations

from typing import Any, ClassVar

from models.contract.note import Note, written
from models.words import english


class ServewrightError(Exception):
    """Something went wrong. Look at the detail, or ask the operator with the request id."""

    code: ClassVar[str] = "internal"
    title: ClassVar[str] = "Internal error"
    status: ClassVar[int] = 500

    def __init__(self, detail: Note | str | None = None, **extra: Any) -> None:
        """``detail`` says more than the default words of the class; a note has a code."""
        if detail is None:
            self.note = Note.model_validate({"code": self.code})
        else:
            self.note = written(detail) if isinstance(detail, str) else detail
        self.detail = self.note.text
        self.extra = extra
        super().__init__(self.detail)

    @classmethod
    def advice(cls) -> str:
        """Return the default message in English: what is wrong and what to do."""
        return english()(f"note.{cls.code}")

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self.note, self.extra))


def _rebuild(cls: type[ServewrightError], note: Note, extra: dict[str, Any]) -> ServewrightError:
    return cls(note, **extra)


def all_errors() -> tuple[type[ServewrightError], ...]:
    """Return every error class below the root, in the order of definition."""
    found: list[type[ServewrightError]] = []
    pending: list[type[ServewrightError]] = list(ServewrightError.__subclasses__())
    while pending:
        cls = pending.pop(0)
        found.append(cls)
        pending = list(cls.__subclasses__()) + pending
    return tuple(found)
