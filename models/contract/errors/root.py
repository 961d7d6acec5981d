"""The root of the error tree."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

from models.contract.note_codes import Saying

if TYPE_CHECKING:
    from models.contract.note import Note


class ServewrightError(Exception):
    """Something went wrong. Look at the detail, or ask the operator with the request id."""

    code: ClassVar[str] = "internal"
    title: ClassVar[str] = "Internal error"
    status: ClassVar[int] = 500

    def __init__(self, detail: Saying | str | None = None, **extra: Any) -> None:
        """``detail`` says more than the default words of the class: a code, or plain words."""
        self.said = Saying(self.code) if detail is None else detail
        self.extra = extra
        super().__init__()

    @cached_property
    def note(self) -> Note:
        """What it says, as a note with its English words.

        Worded only here: where a film is decoded, nobody reads them.
        """
        from models.contract.note import Note, written

        if isinstance(self.said, str):
            return written(self.said)
        return Note.model_validate(
            {"code": self.said.code, "parameters": dict(self.said.parameters)}
        )

    @property
    def detail(self) -> str:
        """What it says, in English."""
        return self.note.text

    def __str__(self) -> str:
        return self.detail

    @classmethod
    def advice(cls) -> str:
        """Return the default message in English: what is wrong and what to do."""
        from models.words import english

        return english()(f"note.{cls.code}")

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self.said, self.extra))


def _rebuild(
    cls: type[ServewrightError], said: Saying | str, extra: dict[str, Any]
) -> ServewrightError:
    return cls(said, **extra)


def all_errors() -> tuple[type[ServewrightError], ...]:
    """Return every error class below the root, in the order of definition."""
    found: list[type[ServewrightError]] = []
    pending: list[type[ServewrightError]] = list(ServewrightError.__subclasses__())
    while pending:
        cls = pending.pop(0)
        found.append(cls)
        pending = list(cls.__subclasses__()) + pending
    return tuple(found)
