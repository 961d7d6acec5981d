"""Derived documents (comparison, progress, plan, drill check) as queued work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import NotFound
from models.contract.problem import Problem
from models.contract.vocabulary import AnalysisStatus, WorkKind
from models.contract.webhook import WebhookData
from service.core.access import Principal
from service.core.identifiers import new_id
from service.core.kinds import KINDS, kind_of
from service.core.outbox import emit
from service.core.players import may_be_minor
from service.core.tables import (
    Analysis,
    Clip,
    DerivedDocument,
    DocumentInput,
    FilmedSession,
    Player,
)
from service.core.work import StoredFile, WorkStore, as_new, event_type


@dataclass(frozen=True, slots=True)
class Input:
    """One analysis that a document is to be made from.

    Attributes
    ----------
    side : str or None
        ``first`` or ``second`` of a comparison.
    """

    analysis_id: str
    side: str | None = None


@dataclass(frozen=True, slots=True)
class InputFiles:
    """Where the results of one input lie, and what is known of its session."""

    analysis_id: str
    side: str | None
    artifacts: dict[str, StoredFile]
    clip_key: str
    clip_sha256: str
    session_id: str | None = None
    session_kind: str | None = None
    filmed_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class DocumentClaim:
    """Work that a worker now owns.

    Attributes
    ----------
    attempt : int
        Fencing token; give it back with every call.
    request : dict
        What was asked for, by kind; see :mod:`service.core.requests`.
    player : str or None
        The player as the integrating app calls them.
    minor : bool
        A player may be under 18.
    now : datetime
        Time by the database's clock.
    """

    document_id: str
    attempt: int
    kind: WorkKind
    request: dict[str, Any]
    inputs: tuple[InputFiles, ...]
    player: str | None
    minor: bool
    now: datetime
    result_prefix: str


def document_root(document_id: str) -> str:
    """Return the prefix below which all attempts at a document write."""
    return KINDS[kind_of(document_id)].root(document_id)


def document_address(row: DerivedDocument) -> str:
    """Return the path of a document in the API."""
    return KINDS[WorkKind(row.kind)].address(row.id, row.player_id)


class DocumentStore(WorkStore[DerivedDocument]):
    """Moves derived documents through their life."""

    table = DerivedDocument
    noun = "document"

    def root(self, work_id: str) -> str:
        """Return the prefix below which all attempts write."""
        return document_root(work_id)

    def address(self, row: DerivedDocument) -> str:
        """Return the path in the API."""
        return document_address(row)

    def create(
        self,
        session: Session,
        principal: Principal,
        kind: WorkKind,
        request: dict[str, Any],
        inputs: Sequence[Input],
        *,
        player_id: str | None = None,
        external_ref: str | None = None,
    ) -> DerivedDocument:
        """Enter a document in the caller's transaction. Enqueue it after the commit."""
        row = DerivedDocument(
            id=new_id(KINDS[kind].prefix),
            tenant_id=principal.tenant_id,
            kind=kind,
            player_id=player_id,
            request=request,
            external_ref=external_ref,
            **as_new(self._database.now(session)),
        )
        session.add(row)
        session.flush()
        for position, one in enumerate(inputs):
            session.add(
                DocumentInput(
                    document_id=row.id,
                    position=position,
                    analysis_id=one.analysis_id,
                    side=one.side,
                )
            )
        return row

    def find(
        self,
        principal: Principal,
        kind: WorkKind,
        document_id: str,
        player_id: str | None = None,
    ) -> DerivedDocument:
        """Return a document of a kind (and player), or raise ``NotFound``."""
        row = self.get(principal, document_id)
        if row.kind != kind or (player_id is not None and row.player_id != player_id):
            raise NotFound()
        return row

    def inputs(self, document_ids: Sequence[str]) -> dict[str, tuple[str, ...]]:
        """Return the analyses that each document is made from."""
        found: dict[str, tuple[str, ...]] = dict.fromkeys(document_ids, ())
        with self._database.read() as session:
            rows = session.scalars(
                select(DocumentInput)
                .where(DocumentInput.document_id.in_(list(document_ids)))
                .order_by(DocumentInput.document_id, DocumentInput.position)
            )
            for row in rows:
                found[row.document_id] += (row.analysis_id,)
        return found

    def claim(self, document_id: str, attempt: int, holder: str) -> DocumentClaim:
        """Take the work. Raises ``LeaseLost``, ``Cancelled`` or ``Erased`` when it is not yours."""
        with self._database.write() as session:
            row = self._claim(session, document_id, attempt, holder)
            now = self._database.now(session)
            found = session.execute(
                select(DocumentInput, Analysis, Clip, FilmedSession, Player)
                .join(Analysis, Analysis.id == DocumentInput.analysis_id)
                .join(Clip, Clip.id == Analysis.clip_id)
                .outerjoin(FilmedSession, FilmedSession.id == Clip.session_id)
                .outerjoin(Player, Player.id == FilmedSession.player_id)
                .where(DocumentInput.document_id == document_id)
                .order_by(DocumentInput.position)
            ).all()
            player = session.get(Player, row.player_id) if row.player_id else None
            players = [who for *_, who in found if who is not None]
            if player is not None:
                players.append(player)
            return DocumentClaim(
                document_id=row.id,
                attempt=attempt,
                kind=WorkKind(row.kind),
                request=dict(row.request),
                inputs=tuple(_files(*one[:4]) for one in found),
                player=player.external_id if player is not None else None,
                minor=any(may_be_minor(one, now) for one in players),
                now=now,
                result_prefix=self.prefix(row.id, attempt),
            )

    def _announce(self, session: Session, now: datetime, row: DerivedDocument) -> None:
        emit(
            session,
            now,
            tenant_id=row.tenant_id,
            type=event_type(row.kind, row),
            source=f"{self._public_url}{document_address(row).rpartition('/')[0]}",
            subject=row.id,
            document_id=row.id,
            data=WebhookData(
                resource=row.kind,
                id=row.id,
                status=AnalysisStatus(row.status),
                player_id=row.player_id,
                external_ref=row.external_ref,
                links=self._links(row),
                headline=row.headline,
                problem=Problem.model_validate(row.problem) if row.problem else None,
            ),
        )


def _files(
    link: DocumentInput, analysis: Analysis, clip: Clip, filmed: FilmedSession | None
) -> InputFiles:
    assert clip.sha256 is not None
    return InputFiles(
        analysis_id=analysis.id,
        side=link.side,
        artifacts={name: StoredFile(**facts) for name, facts in analysis.artifacts.items()},
        clip_key=clip.object_key,
        clip_sha256=clip.sha256,
        session_id=filmed.id if filmed else None,
        session_kind=filmed.kind if filmed else None,
        filmed_at=filmed.filmed_at if filmed else None,
    )
