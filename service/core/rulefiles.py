"""Practice rules of coaches, as they sent them."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from models.contract.errors import NotFound
from models.contract.plan import PracticeRules
from service.core.database import Database
from service.core.idempotency import forget_replies
from service.core.identifiers import new_id
from service.core.principal import Principal
from service.core.tables import RuleFile


class RuleFiles:
    """Keeps rule files. They do not change: send a new one instead."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create(
        self, session: Session, principal: Principal, text: str, rules: PracticeRules
    ) -> RuleFile:
        """Enter a rule file in the caller's transaction.

        Parameters
        ----------
        rules : PracticeRules
            What :func:`models.practice.rules.rules_of` read from the text, before the transaction:
            reading takes time in which nobody else could write.
        """
        row = RuleFile(
            id=new_id("rul"),
            tenant_id=principal.tenant_id,
            created_at=self._database.now(session),
            name=rules.name,
            findings=len(rules.findings),
            drills=len(rules.drills),
            text=text,
        )
        session.add(row)
        session.flush()
        return row

    def get(self, principal: Principal, rules_id: str) -> RuleFile:
        """Return a rule file of this tenant, or raise ``NotFound``."""
        with self._database.read() as session:
            return self._find(session, principal, rules_id)

    def delete(self, principal: Principal, rules_id: str) -> None:
        """Remove a rule file. Plans made by it stay as they are."""
        with self._database.write() as session:
            session.delete(self._find(session, principal, rules_id))
            forget_replies(session, [rules_id])

    def _find(self, session: Session, principal: Principal, rules_id: str) -> RuleFile:
        row = session.scalars(
            select(RuleFile).where(
                RuleFile.id == rules_id, RuleFile.tenant_id == principal.tenant_id
            )
        ).one_or_none()
        if row is None:
            raise NotFound()
        return row
