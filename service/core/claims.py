"""What a worker is given with a piece of queued work: all that any kind of it needs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from models.contract.vocabulary import WorkKind
from service.core.account_tables import Branding
from service.core.joint_files import JOINT_TYPES
from service.core.kinds import KINDS
from service.core.players import may_be_minor
from service.core.tables import Clip, FilmedSession, Player, Work, WorkInput


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A result file in the object store, under its name in the API (``joints.npz``).

    ``schema`` names the JSON Schema of a document that states one; None for other files,
    and for files stored when there was one version only.
    """

    key: str
    sha256: str
    size_bytes: int
    media_type: str
    schema: str | None = None


@dataclass(frozen=True, slots=True)
class StoredFilm:
    """A clip in the object store: a film, or a file of joints."""

    clip_id: str
    key: str
    sha256: str
    media_type: str
    kept: bool = True
    """False once its time was over and it was removed."""

    @property
    def has_pictures(self) -> bool:
        """Whether it is a film."""
        return self.media_type not in JOINT_TYPES


@dataclass(frozen=True, slots=True)
class StoredBrand:
    """The look of an organisation: name, colour (CSS hexadecimal), logo file and its type."""

    name: str
    colour: str | None
    logo: bytes | None
    logo_type: str | None


@dataclass(frozen=True, slots=True)
class InputFiles:
    """Where the results of one finished analysis lie, its film, and its session if it is in one.

    Attributes
    ----------
    side : str or None
        ``first`` or ``second`` of a comparison.
    drill_id : str or None
        Drill of the practice rules that its session was of.
    own_lines : dict or None
        The coach's own on its pictures, as in ``Annotations``.
    """

    work_id: str
    side: str | None
    artifacts: dict[str, StoredFile]
    film: StoredFilm
    session_id: str | None = None
    session_kind: str | None = None
    filmed_at: datetime | None = None
    drill_id: str | None = None
    own_lines: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """Work that a worker now owns.

    Attributes
    ----------
    tenant_id : str
        The organisation it belongs to.
    traceparent : str or None
        Where its trace goes on.
    queued_at : datetime
        Since when this attempt has waited, by the database's clock.
    attempt : int
        Fencing token; give it back with every call.
    crashes : int
        Workers this work has taken down so far.
    request : dict
        What was asked for, by kind; see :mod:`service.core.requests`.
    film : StoredFilm or None
        The clip that an analysis is of.
    same_serve : StoredFilm or None
        Another film of the same serve.
    inputs : tuple of InputFiles
        The analyses that it is made from, in order.
    player : str or None
        The player it is about, as the integrating app calls them.
    minor : bool
        A player may be under 18.
    brand : StoredBrand or None
        The look of the organisation on its pages.
    now : datetime
        Time by the database's clock.
    result_prefix : str
        Write every result object below this prefix; it belongs to the attempt.
    """

    kind: WorkKind
    tenant_id: str
    work_id: str
    attempt: int
    crashes: int
    lease_until: datetime
    request: dict[str, Any]
    film: StoredFilm | None
    same_serve: StoredFilm | None
    inputs: tuple[InputFiles, ...]
    player: str | None
    minor: bool
    now: datetime
    result_prefix: str
    queued_at: datetime
    traceparent: str | None
    brand: StoredBrand | None = None


def claim_of(session: Session, row: Work, now: datetime) -> Claim:
    """Return what goes with a row that was just taken."""
    found, seen = _inputs(session, row)
    films: list[StoredFilm | None] = []
    for clip_id in (row.clip_id, row.same_serve_id):
        clip = None if clip_id is None else session.get_one(Clip, clip_id)
        films.append(None if clip is None else _film(clip))
        who = None if clip is None else _player(session, clip)
        seen += [] if who is None else [who]
    player = session.get(Player, row.player_id) if row.player_id else None
    if player is not None:
        seen.append(player)
    assert row.lease_until is not None
    kind = WorkKind(row.kind)
    return Claim(
        kind=kind,
        tenant_id=row.tenant_id,
        work_id=row.id,
        attempt=row.attempt,
        crashes=row.crashes,
        lease_until=row.lease_until,
        request=dict(row.request),
        film=films[0],
        same_serve=films[1],
        inputs=found,
        player=player.external_id if player is not None else None,
        minor=any(may_be_minor(one, now) for one in seen),
        now=now,
        result_prefix=KINDS[kind].result_prefix(row.tenant_id, row.id, row.attempt),
        queued_at=row.queued_at,
        traceparent=row.traceparent,
        brand=_brand(session, row.tenant_id),
    )


def _brand(session: Session, tenant_id: str) -> StoredBrand | None:
    row = session.get(Branding, tenant_id)
    if row is None:
        return None
    return StoredBrand(row.name, row.colour, row.logo, row.logo_type)


def _inputs(session: Session, row: Work) -> tuple[tuple[InputFiles, ...], list[Player]]:
    """Return the analyses that work is made from, and the players in them."""
    made = aliased(Work)
    rows = session.execute(
        select(WorkInput, made, Clip, FilmedSession, Player)
        .join(made, made.id == WorkInput.input_id)
        .join(Clip, Clip.id == made.clip_id)
        .outerjoin(FilmedSession, FilmedSession.id == Clip.session_id)
        .outerjoin(Player, Player.id == FilmedSession.player_id)
        .where(WorkInput.work_id == row.id)
        .order_by(WorkInput.position)
    ).all()
    inputs = tuple(
        InputFiles(
            work_id=analysis.id,
            side=link.side,
            artifacts={name: StoredFile(**facts) for name, facts in analysis.artifacts.items()},
            film=_film(clip),
            session_id=filmed.id if filmed else None,
            session_kind=filmed.kind if filmed else None,
            filmed_at=filmed.filmed_at if filmed else None,
            drill_id=filmed.drill_id if filmed else None,
            own_lines=analysis.own_lines,
        )
        for link, analysis, clip, filmed, _ in rows
    )
    return inputs, [who for *_, who in rows if who is not None]


def _film(clip: Clip) -> StoredFilm:
    kept = clip.film_removed_at is None
    return StoredFilm(clip.id, clip.object_key, clip.sha256 or "", clip.media_type, kept)


def _player(session: Session, clip: Clip) -> Player | None:
    if clip.session_id is None:
        return None
    filmed = session.get_one(FilmedSession, clip.session_id)
    return session.get_one(Player, filmed.player_id)
