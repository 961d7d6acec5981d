"""``sessions.yaml``: the sessions of one player, for progress on the command line.

::

    - kind: baseline            # baseline, acquisition, retention or transfer
      filmed_at: 2026-05-04T09:00:00Z
      results: [before-1-result, before-2-result]
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import yaml
from pydantic import AwareDatetime, Field, TypeAdapter, ValidationError

from models.contract.base import Document
from models.contract.errors import InvalidRequest
from models.contract.progress import SessionKind

if TYPE_CHECKING:
    from workers.derive.source import SessionSources


class SessionEntry(Document):
    """One entry of the file; ``results`` are paths from the file's folder."""

    kind: SessionKind
    filmed_at: AwareDatetime
    results: tuple[Path, ...] = Field(min_length=1)
    name: str | None = None


_ENTRIES = TypeAdapter(tuple[SessionEntry, ...])


def read_sessions(path: Path) -> list[SessionSources]:
    """Return the sessions of a file, or of ``sessions.yaml`` in a folder."""
    from workers.cli.folders import sources_of
    from workers.derive.source import SessionSources

    file = path / "sessions.yaml" if path.is_dir() else path
    if not file.is_file():
        raise InvalidRequest(f"There is no {file}. It lists kind, filmed_at and results.")
    try:
        entries = _ENTRIES.validate_python(yaml.safe_load(file.read_text("utf-8")))
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise InvalidRequest(f"{file} is not valid YAML.") from error
    except ValidationError as error:
        lines = [
            f"{'.'.join(str(part) for part in e['loc']) or 'file'}: {e['msg']}"
            for e in error.errors(include_url=False, include_input=False)
        ]
        raise InvalidRequest(f"{file}: " + "; ".join(lines)) from error
    if not entries:
        raise InvalidRequest(f"{file} lists no session.")
    return [
        SessionSources(
            name=entry.name or f"{entry.filmed_at:%Y-%m-%d}",
            kind=entry.kind,
            at=entry.filmed_at,
            sources=tuple(sources_of([file.parent / result for result in entry.results])),
        )
        for entry in entries
    ]
