"""The root of the error tree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from models.words import english

if TYPE_CHECKING:
    from models.contract.note import Note


class ServewrightError(Exception):
    """Something went wrong. Look at the detail, or ask the operator with the request id."""

    code: ClassVar[str] = "internal"
    title: ClassVar[str] = "Internal error"
    status: ClassVar[int] = 500

    def __init__(self, detail: Note | str | None = None, **extra: Any) -> None:
        """``detail`` says more than the default words of the class; a note has a code."""
        self._given = detail
        self.detail = self.advice() if detail is None else str(detail)
        self.extra = extra
        super().__init__(self.detail)

    @property
    def note(self) -> Note:
        """The detail as a note."""
        # Only here: the decoder process raises errors too, and does without pydantic.
        from models.contract.note import Note, written

        if self._given is None:
            return Note.model_validate({"code": self.code})
        return written(self._given) if isinstance(self._given, str) else self._given

    @classmethod
    def advice(cls) -> str:
        """Return the default message in English: what is wrong and what to do."""
        return english()(f"note.{cls.code}")

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self._given, self.extra))


def _rebuild(
    cls: type[ServewrightError], detail: Note | str | None, extra: dict[str, Any]
) -> ServewrightError:
    return cls(detail, **extra)


def all_errors() -> tuple[type[ServewrightError], ...]:
    """Return every error class below the root, in the order of definition."""
    found: list[type[ServewrightError]] = []
    pending: list[type[ServewrightError]] = list(ServewrightError.__subclasses__())
    while pending:
        cls = pending.pop(0)
        found.append(cls)
        pending = list(cls.__subclasses__()) + pending
    return tuple(found)
