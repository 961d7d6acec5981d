"""One place keeps organisations apart: every kind of statement, whatever a store forgets."""

from __future__ import annotations

import pytest
from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session, aliased

from models.contract.errors import Forbidden, InvalidRequest
from models.contract.vocabulary import WorkKind
from service.core.identifiers import new_id
from service.core.narrowing import OutOfReach, narrowed_tables
from service.core.reach import EVERYTHING, NOTHING, Reach, reaching, whole_organisation
from service.core.tables import (
    Base,
    Clip,
    FilmedSession,
    Lock,
    MachineCosts,
    Organisation,
    OutboxEvent,
    Player,
    RuleFile,
    Secret,
    Work,
    WorkInput,
)
from service.core.wiring import Wiring

OURS, THEIRS = Reach("main"), Reach("other")


class Story:
    """Two organisations; in the first, two players with two sessions each."""

    def __init__(self, wired: Wiring) -> None:
        self.database = wired.database
        self.rows: dict[str, list[str]] = {"main": [], "other": []}
        with self.database.write() as session:
            self.now = self.database.now(session)
            session.add(
                Organisation(
                    id="other", name="other", created_at=self.now, updated_at=self.now, limits={}
                )
            )
            session.flush()
            self.players = {
                name: self._player(session, tenant)
                for name, tenant in (("ann", "main"), ("bea", "main"), ("cleo", "other"))
            }
            self.sessions, self.clips, self.work = {}, {}, {}
            for name, player in self.players.items():
                for number in (1, 2):
                    self._film(session, name, player, number)
            both = self._document(session, "main", None, ["ann1", "bea1"])
            self.work["ann and bea"] = both
            self.work["ann over time"] = self._document(
                session, "main", self.players["ann"], ["ann1", "ann2"]
            )
            self.work["ann once"] = self._document(session, "main", self.players["ann"], ["ann1"])

    def _player(self, session: Session, tenant: str) -> str:
        row = Player(
            id=new_id("ply"),
            tenant_id=tenant,
            created_at=self.now,
            updated_at=self.now,
            external_id=new_id("x"),
            handedness="right",
            sex="unknown",
        )
        session.add(row)
        session.flush()
        return row.id

    def _film(self, session: Session, name: str, player: str, number: int) -> None:
        tenant = "other" if name == "cleo" else "main"
        filmed = FilmedSession(
            id=new_id("ses"),
            tenant_id=tenant,
            player_id=player,
            created_at=self.now,
            updated_at=self.now,
            kind="baseline",
            filmed_at=self.now,
        )
        session.add(filmed)
        session.flush()
        clip = Clip(
            id=new_id("clip"),
            tenant_id=tenant,
            api_key_id="k",
            created_at=self.now,
            state="ready",
            object_key="k",
            media_type="video/mp4",
            sha256=None,
            session_id=filmed.id,
        )
        session.add(clip)
        session.flush()
        work = self._work(session, tenant, WorkKind.ANALYSIS, clip_id=clip.id)
        mark = f"{name}{number}"
        self.sessions[mark], self.clips[mark], self.work[mark] = filmed.id, clip.id, work

    def _work(self, session: Session, tenant: str, kind: WorkKind, **of: str | None) -> str:
        row = Work(
            id=new_id("ana"),
            tenant_id=tenant,
            kind=kind,
            created_at=self.now,
            status="completed",
            progress=1.0,
            attempt=1,
            crashes=0,
            queued_at=self.now,
            request={},
            artifacts={},
            headline={},
            **of,
        )
        session.add(row)
        session.flush()
        return row.id

    def _document(
        self, session: Session, tenant: str, player: str | None, made_from: list[str]
    ) -> str:
        made = self._work(session, tenant, WorkKind.COMPARISON, player_id=player)
        for position, mark in enumerate(made_from):
            session.add(
                WorkInput(
                    work_id=made, position=position, tenant_id=tenant, input_id=self.work[mark]
                )
            )
        session.flush()
        return made

    def seen(self, reach: Reach) -> set[str]:
        """Return the marks of the work that is seen."""
        with self.database.read(reach) as session:
            found = set(session.scalars(select(Work.id)))
        return {mark for mark, work_id in self.work.items() if work_id in found}


@pytest.fixture
def story(wiring: Wiring) -> Story:
    return Story(wiring)


def test_every_table_is_of_an_organisation_or_of_the_installation() -> None:
    """A table that is added must say whose its rows are."""
    mapped = {mapper.class_ for mapper in Base.registry.mappers}
    assert mapped - set(narrowed_tables()) == {Lock, MachineCosts, Secret}


def test_each_kind_of_statement_is_narrowed(story: Story) -> None:
    theirs = story.players["cleo"]
    other = aliased(Work)
    with story.database.read(OURS) as session:
        assert session.get(Player, theirs) is None
        assert session.scalars(select(Player).where(Player.id == theirs)).all() == []
        assert session.execute(select(Player.external_id).where(Player.id == theirs)).all() == []
        assert session.scalars(select(Player).with_for_update()).all()
        assert session.execute(select(func.count()).select_from(Player)).scalar_one() == 2
        assert session.execute(select(func.count(Player.id))).scalar_one() == 2
        assert len(session.scalars(select(aliased(Player))).all()) == 2
        joined = select(Clip).join(FilmedSession).join(Player).where(Player.id == theirs)
        assert session.scalars(joined).all() == []
        inside = select(Organisation.id).where(
            select(Player.id).where(Player.id == theirs).exists()
        )
        assert session.scalars(inside).all() == []
        made = select(other.id).join(WorkInput, WorkInput.work_id == other.id)
        assert len(set(session.scalars(made))) == 3
        both = select(Player.id).union_all(select(FilmedSession.id))
        assert len(session.execute(both).all()) == 2 + 4
        assert session.scalars(select(Organisation.id)).all() == ["main"]


def test_each_kind_of_change_is_narrowed(story: Story) -> None:
    theirs = story.players["cleo"]
    with story.database.write(OURS) as session:
        session.execute(update(Player).values(notes="ours"))
        session.execute(delete(Player).where(Player.id == theirs))
        session.execute(delete(Work).where(Work.id.in_(list(story.work.values()))))
    with story.database.read() as session:
        assert session.get_one(Player, theirs).notes is None
        assert session.get_one(Player, story.players["ann"]).notes == "ours"
    assert story.seen(EVERYTHING) == story.seen(THEIRS) == {"cleo1", "cleo2"}


def test_nothing_is_written_for_another_organisation(story: Story) -> None:
    def rules(tenant: str | None) -> RuleFile:
        return RuleFile(
            id=new_id("rul"),
            tenant_id=tenant,
            created_at=story.now,
            name="r",
            findings=1,
            drills=1,
            text="",
        )

    for reach, tenant in ((OURS, "other"), (NOTHING, "main"), (NOTHING, None)):
        with pytest.raises(OutOfReach), story.database.write(reach) as session:
            session.add(rules(tenant))
    with story.database.write(OURS) as session:  # what does not say whose it is, is the caller's
        row = rules(None)
        session.add(row)
    assert row.tenant_id == "main"
    with pytest.raises(OutOfReach), story.database.write(OURS) as session:
        session.get_one(RuleFile, row.id).tenant_id = "other"
    with pytest.raises(OutOfReach), story.database.write(OURS) as session:
        session.add(
            Organisation(
                id="third", name="t", created_at=story.now, updated_at=story.now, limits={}
            )
        )


def test_nothing_is_seen_before_a_caller_is_known(story: Story) -> None:
    with reaching(NOTHING), story.database.read() as session:
        for table in narrowed_tables():
            assert session.execute(select(func.count()).select_from(table)).scalar_one() == 0
    with reaching(THEIRS), story.database.read() as session:
        assert len(session.scalars(select(Player)).all()) == 1


def test_a_bound_key_sees_its_player_or_session_alone(story: Story) -> None:
    ann, session_1 = story.players["ann"], story.sessions["ann1"]
    player, once = Reach("main", ann), Reach("main", ann, session_1)
    assert story.seen(OURS) == set(story.work) - {"cleo1", "cleo2"}
    assert story.seen(player) == {"ann1", "ann2", "ann over time", "ann once"}
    assert story.seen(once) == {"ann1", "ann once"}
    assert story.seen(Reach("other", ann)) == set()  # a player of another organisation
    with story.database.read(once) as session:
        assert session.scalars(select(Player.id)).all() == [ann]
        assert session.scalars(select(FilmedSession.id)).all() == [session_1]
        assert session.scalars(select(Clip.id)).all() == [story.clips["ann1"]]
        assert session.scalars(select(OutboxEvent)).all() == []
        with whole_organisation(session):
            assert len(session.scalars(select(Player.id)).all()) == 2
        assert session.scalars(select(Player.id)).all() == [ann]


def test_a_bound_key_writes_for_its_player_or_session_alone(story: Story) -> None:
    ann, session_1 = story.players["ann"], story.sessions["ann1"]
    player, once = Reach("main", ann), Reach("main", ann, session_1)
    with pytest.raises(Forbidden), story.database.write(player) as session:
        story._player(session, "main")
    with pytest.raises(Forbidden), story.database.write(once) as session:
        story._film(session, "new", ann, 3)
    with pytest.raises(Forbidden), story.database.write(player) as session:
        story._film(session, "new", story.players["bea"], 3)
    with story.database.write(player) as session:
        story._film(session, "new", ann, 3)
    for reach, moved in ((player, None), (once, None), (once, story.sessions["ann2"])):
        with (
            pytest.raises((Forbidden, InvalidRequest)),
            story.database.write(reach) as session,
        ):
            session.get_one(Clip, story.clips["ann1"]).session_id = moved
