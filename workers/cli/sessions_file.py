"""``sessions.yaml``: the sessions of one player, for progress on the command line.

::

    - kind: baseline            # baseline, acquisition, retention or transfer
      filmed_at: 2026-05-04T09:00:00Z
      results: [before-1-result, before-2-result]
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import yaml
from pydantic import AwareDatetime, Field, TypeAdapter, ValidationError

from models.contract.base import Document
from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.progress import SessionKind
from models.contract.refusals import places_in_words
from models.words import english

if TYPE_CHECKING:
    from workers.derive.source import SessionSources


class SessionEntry(Document):
    """One entry of the file; ``results`` are paths from the file's folder, ``drill`` is an id of
    the rules.
    """

    kind: SessionKind
    filmed_at: AwareDatetime
    results: tuple[Path, ...] = Field(min_length=1)
    name: str | None = None
    drill: str | None = None


_ENTRIES = TypeAdapter(tuple[SessionEntry, ...])


def read_sessions(path: Path) -> list[SessionSources]:
    """Return the sessions of a file, or of ``sessions.yaml`` in a folder."""
    from service.core.players import CLOCK_AHEAD
    from workers.cli.folders import sources_of
    from workers.derive.source import SessionSources

    file = path / "sessions.yaml" if path.is_dir() else path
    if not file.is_file():
        raise InvalidRequest(say(NoteCode.SESSIONS_FILE_MISSING, file=str(file)))
    try:
        entries = _ENTRIES.validate_python(yaml.safe_load(file.read_text("utf-8")))
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise InvalidRequest(say(NoteCode.SESSIONS_FILE_NO_YAML, file=str(file))) from error
    except ValidationError as error:
        places = "; ".join(places_in_words(error, english()))
        raise InvalidRequest(
            say(NoteCode.SESSIONS_FILE_NOT_VALID, file=str(file), places=places)
        ) from error
    if any(entry.filmed_at > datetime.now(UTC) + CLOCK_AHEAD for entry in entries):
        raise InvalidRequest(say(NoteCode.FILMED_IN_FUTURE))
    if not entries:
        raise InvalidRequest(say(NoteCode.SESSIONS_FILE_EMPTY, file=str(file)))
    return [
        SessionSources(
            name=entry.name or f"{entry.filmed_at:%Y-%m-%d}",
            kind=entry.kind,
            at=entry.filmed_at,
            sources=tuple(sources_of([file.parent / result for result in entry.results])),
            drill=entry.drill,
        )
        for entry in entries
    ]
