"""How every process of the installation logs: one line an event, to standard error.

Each line carries what it is about, as far as that is known where it is written: the request, the
work with its attempt, the organisation, the trace. As text they follow the message; as JSON they
are members.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from service.core.traces import trace_id

CHATTY = ("rq", "alembic", "httpx", "httpcore", "botocore", "boto3", "urllib3")
"""Loggers that are heard at level debug only."""
_NOTHING: MappingProxyType[str, str] = MappingProxyType({})
_about: ContextVar[MappingProxyType[str, str]] = ContextVar("about", default=_NOTHING)


@contextmanager
def log_about(**ids: str) -> Iterator[None]:
    """Let lines written inside say what they are about, such as ``request_id`` or ``work_id``."""
    token = _about.set(MappingProxyType({**_about.get(), **ids}))
    try:
        yield
    finally:
        _about.reset(token)


class _About(logging.Filter):
    """Takes the ids over where the line is written: a handler may run elsewhere."""

    def filter(self, record: logging.LogRecord) -> bool:
        found = trace_id()
        record.about = {**_about.get(), **({"trace_id": found} if found else {})}
        return True


class _Text(logging.Formatter):
    """A line for people."""

    def format(self, record: logging.LogRecord) -> str:
        line = super().format(record)
        message = record.getMessage()
        about: dict[str, str] = getattr(record, "about", {})
        told = [f"{name}={value}" for name, value in about.items() if value not in message]
        return f"{line} [{' '.join(told)}]" if told and "\n" not in line else line


class _Json(logging.Formatter):
    """A line for machines: one object (RFC 8259)."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "process": record.process,
            "message": record.getMessage(),
            **getattr(record, "about", {}),
        }
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


def configure_logging(level: str, form: str = "text", *, replace: bool = True) -> None:
    """Send one line an event to standard error.

    Parameters
    ----------
    level : str
        Least severe level that is written.
    form : str
        ``text`` or ``json``.
    replace : bool
        False leaves handlers alone that whoever runs this process has already set.
    """
    handler = logging.StreamHandler()
    handler.addFilter(_About())
    handler.setFormatter(
        _Json()
        if form == "json"
        else _Text("%(asctime)s %(levelname)s %(process)d %(name)s: %(message)s")
    )
    logging.basicConfig(level=level.upper(), handlers=[handler], force=replace)
    if level != "debug":
        for name in CHATTY:
            logging.getLogger(name).setLevel(logging.WARNING)
