"""The progress of a player over sessions."""

from __future__ import annotations

from pathlib import Path

from models.contract.progress import SessionKind
from models.contract.vocabulary import RepetitionKind
from models.practice.rules import rules_of
from service.core.claims import Claim, InputFiles
from service.core.wiring import Wiring
from workers.derive.progress import headline, progress_files
from workers.derive.source import SessionSources, Source
from workers.jobs.coach import from_coach
from workers.jobs.lease import Lease
from workers.jobs.making import Made, language_of
from workers.jobs.shelf import sources_of


def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
    """Work out the progress from the inputs, grouped by session."""
    of_session: dict[str, list[Source]] = {}
    facts: dict[str, InputFiles] = {}
    for one, source in zip(claim.inputs, sources_of(wiring, claim, lease, folder), strict=True):
        assert one.session_id is not None
        of_session.setdefault(one.session_id, []).append(source)
        facts[one.session_id] = one
    sessions = []
    for session_id, sources in of_session.items():
        one = facts[session_id]
        assert one.filmed_at is not None
        assert one.session_kind is not None
        name = f"{one.filmed_at:%Y-%m-%d}"
        kind = SessionKind(one.session_kind)
        sessions.append(SessionSources(name, kind, one.filmed_at, tuple(sources), one.drill_id))
    found, files = progress_files(
        claim.player or "",
        sessions,
        now=claim.now,
        kind=RepetitionKind(claim.request["kind"]),
        focus=claim.request.get("focus", ()),
        rules=rules_of(claim.request.get("rules")),
        minor=claim.minor,
        coach=from_coach(wiring, claim, lease),
        language=language_of(claim),
    )
    return Made(files, headline(found))
