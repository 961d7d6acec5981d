"""What analyses have cost each machine, learned from those that were completed there."""

from __future__ import annotations

import socket
from collections.abc import Mapping

from sqlalchemy import select

from models.contract.costs import MeasuredCosts, Step, StepCost
from service.core.database import Database
from service.core.tables import MachineCosts


class CostStore:
    """Costs by machine; a machine is known by its host name."""

    def __init__(self, database: Database, machine: str | None = None) -> None:
        self._database = database
        self._machine = machine or socket.gethostname()

    def read(self) -> MeasuredCosts:
        """Return what is known of this machine; empty when it has completed nothing yet."""
        with self._database.read() as session:
            row = session.get(MachineCosts, self._machine)
        return MeasuredCosts() if row is None else MeasuredCosts.model_validate(row.costs)

    def learn(self, run: Mapping[Step, StepCost]) -> None:
        """Add one completed analysis."""
        if not run:
            return
        with self._database.write() as session:
            row = session.scalars(
                select(MachineCosts).where(MachineCosts.machine == self._machine).with_for_update()
            ).one_or_none()
            known = MeasuredCosts() if row is None else MeasuredCosts.model_validate(row.costs)
            costs = known.with_run(run).model_dump(mode="json")
            now = self._database.now(session)
            # Two workers may both find no row: merge() then lets the later one win, or fail on
            # the key, which costs one lesson.
            session.merge(MachineCosts(machine=self._machine, updated_at=now, costs=costs))
