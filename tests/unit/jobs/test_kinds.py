"""Every kind of queued work is complete: declared, made, announced and offered by the API."""

from __future__ import annotations

from typing import get_args

import pytest
from fastapi.routing import APIRoute

from models.contract.vocabulary import DerivedKind, WorkKind
from models.contract.webhook import EventType
from service.api import analyses, derived
from service.core.identifiers import new_id
from service.core.kinds import KINDS, kind_of
from workers.jobs.makers import MAKERS

ROUTERS = (
    analyses.router,
    derived.comparisons,
    derived.progress,
    derived.plans,
    derived.drill_checks,
)
OTHER_EVENTS = {
    "analysis.first_look",
    "endpoint.disabled",
    "retention.due",
    "session.completed",
} | {"webhook.test"}
GENERIC = {
    "": {"GET", "HEAD", "POST"},
    "/{id}": {"GET", "HEAD", "DELETE"},
    "/{id}/cancel": {"POST"},
    "/{id}/result": {"GET", "HEAD"},
}


def test_each_kind_is_declared_and_made() -> None:
    assert set(KINDS) == set(MAKERS) == set(WorkKind)
    assert {WorkKind.ANALYSIS, *get_args(DerivedKind)} == set(WorkKind)
    assert len({one.prefix for one in KINDS.values()}) == len(WorkKind)
    assert len({one.collection for one in KINDS.values()}) == len(WorkKind)


def test_each_kind_is_announced_and_nothing_else() -> None:
    ends = {KINDS[kind].event(end) for kind in WorkKind for end in ("completed", "failed")}  # type: ignore[arg-type]
    assert ends | OTHER_EVENTS == set(get_args(EventType))


def test_each_kind_has_the_same_routes() -> None:
    found: dict[str, set[str]] = {}
    for router in ROUTERS:
        for route in router.routes:
            assert isinstance(route, APIRoute)
            path = route.path.replace("{analysis_id}", "{id}").replace("{document_id}", "{id}")
            found.setdefault(path, set()).update(route.methods)
    for one in KINDS.values():
        for below, methods in GENERIC.items():
            assert found[one.collection + below] == methods


@pytest.mark.parametrize("kind", list(WorkKind))
def test_ids_tell_the_kind(kind: WorkKind) -> None:
    assert kind_of(new_id(KINDS[kind].prefix)) is kind
    for other in ("clip", "ply"):
        with pytest.raises(ValueError, match="queued work"):
            kind_of(new_id(other))
