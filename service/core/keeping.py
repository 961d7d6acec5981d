"""How long films, joints and reports are kept, and their removal when the time is over.

Numbers stay: what goes is the film, the joints of each frame, and what shows the player. A rule
that is new or changed removes nothing for a week, so that it can be seen before it acts.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, exists, false, or_, select, tuple_, update
from sqlalchemy.orm import Session

from models.contract.errors import NotFound
from models.contract.keeping import KeptBy
from models.contract.vocabulary import AnalysisStatus
from service.core.audit import AuditActor, AuditSubject, add_entry, player_of
from service.core.database import Database
from service.core.identifiers import is_id, new_id
from service.core.joint_files import JOINT_TYPES
from service.core.object_keys import clip_root
from service.core.players import may_be_minor
from service.core.reach import EVERYTHING
from service.core.settings import Settings
from service.core.tables import (
    Clip,
    Consent,
    Erasure,
    ErasureReceipt,
    FilmedSession,
    Organisation,
    Player,
    ResumableUpload,
    Work,
    WorkInput,
)

GRACE = timedelta(days=7)
"""After a rule was set or changed nothing goes by it for so long (working value)."""
LOCK = "keeping"
INTERVAL_S = 3600.0
"""Seconds between two rounds; rules count in days."""
BATCH = 200
"""Rows that are looked at at a time."""
UNFINISHED = (AnalysisStatus.QUEUED, AnalysisStatus.RUNNING)
NUMBERS = frozenset({"result", "events", "metrics"})
JOINTS = frozenset({"joints", "joints.npz", "joints.same_serve.npz"})


@dataclass(frozen=True, slots=True)
class Rule:
    """Days for which things are kept; 0 = until erased. As in ``KeepingRule``."""

    films_days: int = 0
    minors_films_days: int = 0
    joints_days: int = 0
    reports_days: int = 0

    @classmethod
    def of_settings(cls, settings: Settings) -> Rule:
        """Return the rule of an organisation that has none of its own."""
        return cls(
            settings.keep_films_days,
            settings.keep_minors_films_days,
            settings.keep_joints_days,
            settings.keep_reports_days,
        )

    def of(self, organisation: Organisation) -> Rule:
        """Return the rule in force for an organisation."""
        own: dict[str, Any] = organisation.keeping
        known = {field.name for field in fields(self)}
        return replace(self, **{name: own[name] for name in known & set(own)})

    def film(self, minor: bool, agreed_days: int) -> tuple[int, KeptBy]:
        """Return for how many days a film is kept (0 = until erased), and which rule says so.

        Parameters
        ----------
        agreed_days : int
            Longest time that a consent in force allows; 0 = none says.
        """
        days: int = self.films_days
        ground: KeptBy = KeptBy.ORGANISATION
        if minor and self.minors_films_days:
            longer = agreed_days > self.minors_films_days
            of_minor = max(agreed_days, self.minors_films_days)
            if not days or of_minor < days:
                days, ground = of_minor, KeptBy.CONSENT if longer else KeptBy.MINOR
        return days, ground


@dataclass(frozen=True, slots=True)
class Until:
    """When something goes; None = not before it is erased."""

    moment: datetime | None
    ground: KeptBy = KeptBy.ORGANISATION


class Keeping:
    """Tells how long things are kept, and removes what is past its time."""

    def __init__(self, database: Database, defaults: Rule) -> None:
        self._database = database
        self.defaults = defaults

    def kept(self, of: str) -> KeptUntil:
        """Return what is known of a clip or of work, or raise ``NotFound``."""
        with self._database.read() as session:
            row: Clip | Work | None = (
                session.get(Clip, of) if is_id(of, "clip") else session.get(Work, of)
            )
            if row is None:
                raise NotFound()
        # Rule and consents may lie beyond the key of one session.
        with self._database.read(EVERYTHING) as session:
            organisation = session.get_one(Organisation, row.tenant_id)
            if isinstance(row, Clip):
                return KeptUntil(
                    row, self.film(session, organisation, row), Until(None), Until(None)
                )
            joints, reports = self.work(organisation, row)
            return KeptUntil(row, Until(None), joints, reports)

    def film(self, session: Session, organisation: Organisation, clip: Clip) -> Until:
        """Return when a film, or a file of joints, goes."""
        rule = self.defaults.of(organisation)
        if clip.media_type in JOINT_TYPES:
            return Until(_end(clip.created_at, rule.joints_days, organisation))
        player = session.scalars(
            select(Player)
            .join(FilmedSession, FilmedSession.player_id == Player.id)
            .where(FilmedSession.id == clip.session_id)
        ).one_or_none()
        # Nobody knows who is on a film in no session: as with an unknown year, the doubt counts.
        minor = player is None or may_be_minor(player, self._database.now(session))
        given = select(ResumableUpload.consent_id).where(ResumableUpload.clip_id == clip.id)
        theirs: ColumnElement[bool] = Consent.id.in_(given)
        if player is not None:
            theirs = or_(theirs, Consent.player_id == player.id)
        agreed = session.scalars(
            select(Consent.keep_films_days).where(theirs, Consent.withdrawn_at.is_(None))
        ).all()
        days, ground = rule.film(minor, max((one or 0 for one in agreed), default=0))
        return Until(_end(clip.created_at, days, organisation), ground)

    def work(self, organisation: Organisation, row: Work) -> tuple[Until, Until]:
        """Return when the joints and the reports of work go."""
        rule = self.defaults.of(organisation)
        if row.finished_at is None:
            return Until(None), Until(None)
        return (
            Until(_end(row.finished_at, rule.joints_days, organisation)),
            Until(_end(row.finished_at, rule.reports_days, organisation)),
        )

    def run_if_due(self) -> int:
        """Remove what is past its time, unless some process did so within the hour."""
        if not self._database.take_lock(LOCK, secrets.token_hex(8), INTERVAL_S):
            return 0
        return self.run_once()

    def run_once(self) -> int:
        """Remove what is past its time; return of how many films and pieces of work."""
        with self._database.read() as session:
            organisations = session.scalars(select(Organisation)).all()
        removed = 0
        for one in organisations:
            rule = self.defaults.of(one)
            of_films = (rule.films_days, rule.minors_films_days, rule.joints_days)
            for clip_id in self._old(one.id, Clip, of_films, Clip.film_removed_at.is_(None)):
                removed += self._remove_film(one, clip_id)
            of_work = (rule.joints_days, rule.reports_days)
            left = [
                moment.is_(None)
                for moment, days in zip(
                    (Work.joints_removed_at, Work.reports_removed_at), of_work, strict=True
                )
                if days
            ]
            for work_id in self._old(one.id, Work, of_work, or_(false(), *left)):
                removed += self._remove_results(one, work_id)
        return removed

    def _old(
        self,
        tenant_id: str,
        table: type[Clip] | type[Work],
        days: tuple[int, ...],
        left: ColumnElement[bool],
    ) -> Iterator[str]:
        """Yield the ids of rows that may be past their time and still have something to lose."""
        shortest = min((one for one in days if one), default=0)
        if not shortest:
            return
        after: tuple[datetime, str] | None = None
        while True:
            with self._database.read() as session:
                limit = self._database.now(session) - timedelta(days=shortest)
                query = select(table.created_at, table.id).where(
                    table.tenant_id == tenant_id, table.created_at <= limit, left
                )
                if after is not None:
                    query = query.where(tuple_(table.created_at, table.id) > after)
                found = session.execute(query.order_by(table.created_at, table.id).limit(BATCH))
                rows = [(row[0], row[1]) for row in found]
            if not rows:
                return
            after = rows[-1]
            for _, row_id in rows:
                yield row_id

    def _remove_film(self, organisation: Organisation, clip_id: str) -> bool:
        def due(session: Session, clip: Clip) -> bool:
            past = self._past(session, self.film(session, organisation, clip))
            ready = clip.state == "ready" and clip.film_removed_at is None
            return ready and past and not _in_use(session, clip_id)

        with self._database.read() as session:  # cheap look first: most may stay longer
            seen = session.get(Clip, clip_id)
            if seen is None or not due(session, seen):
                return False
        with self._database.write() as session:
            clip = session.get(Clip, clip_id, with_for_update=True)
            if clip is None or not due(session, clip):
                return False
            now = self._database.now(session)
            clip.film_removed_at = now
            # Its digest would still tell who sent which film; sent again, it is a new clip.
            clip.sha256 = clip.announced_sha256 = clip.size_bytes = None
            clip.facts = _without_digest(clip.facts)
            for work in session.scalars(select(Work).where(Work.clip_id == clip_id)):
                if work.first_look:
                    about = _without_digest(work.first_look.get("clip"))
                    work.first_look = {**work.first_look, "clip": about}
            session.execute(
                update(ResumableUpload)
                .where(ResumableUpload.clip_id == clip_id)
                .values(sha256=None)
            )
            _note(session, now, clip.tenant_id, clip_id, [clip_root(clip.tenant_id, clip_id)])
            self._tell(session, clip.tenant_id, clip_id, "remove_film")
        return True

    def _remove_results(self, organisation: Organisation, work_id: str) -> bool:
        def due(session: Session, row: Work) -> tuple[bool, bool]:
            if row.status != AnalysisStatus.COMPLETED or _in_use(session, work_id):
                return False, False
            joints, reports = self.work(organisation, row)
            return (
                row.joints_removed_at is None and self._past(session, joints),
                row.reports_removed_at is None and self._past(session, reports),
            )

        with self._database.read() as session:
            seen = session.get(Work, work_id)
            if seen is None or not any(due(session, seen)):
                return False
        with self._database.write() as session:
            row = session.get(Work, work_id, with_for_update=True)
            if row is None:
                return False
            joints, reports = due(session, row)
            now = self._database.now(session)
            gone: set[str] = set()
            if joints:
                row.joints_removed_at = now
                gone |= JOINTS & set(row.artifacts)
            if reports:
                row.reports_removed_at = now
                gone |= set(row.artifacts) - JOINTS - NUMBERS
            if gone:
                keys = sorted(row.artifacts[name]["key"] for name in gone)
                _note(session, now, row.tenant_id, work_id, keys)
                self._tell(session, row.tenant_id, work_id, "remove_results")
                row.artifacts = {
                    name: one for name, one in row.artifacts.items() if name not in gone
                }
        return bool(gone)

    def _tell(self, session: Session, tenant_id: str, of: str, action: str) -> None:
        """Note a removal in the audit log."""
        about = AuditSubject(of, player_of(session, of))
        add_entry(session, self._database, AuditActor("service", LOCK, tenant_id), action, about)

    def _past(self, session: Session, until: Until) -> bool:
        return until.moment is not None and until.moment <= self._database.now(session)


@dataclass(frozen=True, slots=True)
class KeptUntil:
    """A clip or work, and until when what belongs to it is kept."""

    row: Clip | Work
    film: Until
    joints: Until
    reports: Until


def _without_digest(facts: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if facts is None else {**facts, "sha256": None}


def _end(start: datetime, days: int, organisation: Organisation) -> datetime | None:
    if not days:
        return None
    since = organisation.keeping_since or organisation.created_at
    return max(start + timedelta(days=days), since + GRACE)


def _in_use(session: Session, of: str) -> bool:
    """Tell whether unfinished work reads a film or a result."""
    reader = select(WorkInput.work_id).join(Work, Work.id == WorkInput.input_id)
    unfinished = select(Work.id).where(
        Work.status.in_(UNFINISHED),
        or_(
            Work.clip_id == of,
            Work.same_serve_id == of,
            Work.id.in_(reader.where(or_(Work.id == of, Work.clip_id == of))),
        ),
    )
    return bool(session.execute(select(exists(unfinished))).scalar_one())


def _note(session: Session, now: datetime, tenant_id: str, of: str, objects: list[str]) -> None:
    """Note what the sweep takes out of the object store, with a receipt."""
    receipt = ErasureReceipt(
        id=new_id("era"),
        tenant_id=tenant_id,
        created_at=now,
        subject_id=of,
        clips=0,
        work=0,
        files=0,
    )
    session.add(receipt)
    session.flush()
    for prefix in objects:
        session.add(
            Erasure(
                prefix=prefix,
                receipt_id=receipt.id,
                tenant_id=tenant_id,
                erased_at=now,
                sweep_until=now,
            )
        )
