"""The root of the error tree."""

from __future__ import annotations

import inspect
from typing import Any, ClassVar


class ServewrightError(Exception):
    """Something went wrong. Look at the detail, or ask the operator with the request id."""

    code: ClassVar[str] = "internal"
    title: ClassVar[str] = "Internal error"
    status: ClassVar[int] = 500

    def __init__(self, detail: str | None = None, **extra: Any) -> None:
        self.detail = detail or self.advice()
        self.extra = extra
        super().__init__(self.detail)

    @classmethod
    def advice(cls) -> str:
        """Return the default message: what is wrong and what to do."""
        return " ".join(inspect.cleandoc(cls.__doc__ or "").split())

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self.detail, self.extra))


def _rebuild(cls: type[ServewrightError], detail: str, extra: dict[str, Any]) -> ServewrightError:
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
