"""Derived documents: comparisons, progress, practice plans, drill checks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from pydantic import BaseModel
from sqlalchemy.orm import Session

from models.contract.coaching import (
    ComparisonRequest,
    DerivedPage,
    DerivedResource,
    DrillCheckRequest,
    PlanRequest,
    ProgressRequest,
)
from models.contract.comparison import Comparison
from models.contract.plan import DrillOutcome, PracticePlan
from models.contract.progress import Progress
from models.contract.vocabulary import WorkKind
from service.api.work_resources import derived_resource
from service.api.work_routes import Offer, OperationText, Result, work_router
from service.core.principal import Principal
from service.core.tables import Work
from service.core.wiring import Wiring

Enter = Callable[[Wiring, Session, Principal, Any, str | None], Work]


def _router(
    kind: WorkKind,
    title: str,
    body: type[BaseModel],
    enter: Enter,
    start: tuple[str, str],
    listing: tuple[str, str, str],
    results: tuple[Result, ...],
) -> APIRouter:
    """Return the routes of a kind of document.

    Parameters
    ----------
    title : str
        As in summaries: ``a comparison``.
    start : tuple of str
        Summary and description of starting one.
    listing : tuple of str
        Operation, summary and description of the list.
    """
    noun = kind.value
    offer = Offer(
        kind=kind,
        parameter="document_id",
        body=body,
        enter=enter,
        resource=derived_resource,
        resource_model=DerivedResource,
        page_model=DerivedPage,
        start=OperationText(f"start_{noun}", *start),
        listing=OperationText(*listing),
        read=OperationText(
            f"read_{noun}",
            f"Read {title}",
            "Read where the work stands and, at the end, the links to the results.",
        ),
        cancel=OperationText(
            f"cancel_{noun}",
            f"Cancel {title}",
            "Cancel work that has not ended; nothing is kept.",
        ),
        erase=OperationText(
            f"erase_{noun}",
            f"Erase {title}",
            "Erase the document with its files and events. What it was made from stays.",
        ),
        results=results,
    )
    return work_router(offer, "coaching")


def _document(kind: WorkKind, title: str, model: type[BaseModel], schema: str) -> Result:
    """Return the route of the document; ``schema`` is that of files stored without saying."""
    words = OperationText(
        f"read_{kind.value}_result",
        f"Fetch the document of {title}",
        "Fetch the whole document. Documents made before version 2 keep "
        f"`{schema}`: `schema` in the document and the `Link` header say which; reasons, notes "
        "and cautions are bare sentences there.",
    )
    return Result("result", words, model=model, schema=schema)


def _report(kind: WorkKind, title: str) -> Result:
    words = OperationText(
        f"read_{kind.value}_report", f"Fetch the report of {title}", "Fetch the report."
    )
    return Result("report.html", words, media=("text/html",), content="One self-contained page.")


comparisons = _router(
    WorkKind.COMPARISON,
    "a comparison",
    ComparisonRequest,
    lambda wired, session, principal, body, _: wired.requests.comparison(session, principal, body),
    (
        "Compare two sides",
        "Compare two groups of repetitions: before and after, player and model, practice and "
        "match.\n\nPer metric both means, the difference with its interval, the least "
        "difference that is\nsurely a change (`threshold`: it decides), the least true change "
        "that would have been seen\n(`detectable`), and a verdict: `surely_changed`, "
        "`probably_changed`, `no_change_seen` or\n`cannot_tell` with the reason; and whether a "
        "change goes towards the goal of the rules.",
    ),
    ("list_comparisons", "List comparisons, newest first", "List comparisons, newest first."),
    (
        _document(WorkKind.COMPARISON, "a comparison", Comparison, "comparison.v1.json"),
        _report(WorkKind.COMPARISON, "a comparison"),
        Result(
            "film.mp4",
            OperationText(
                "read_comparison_film", "Fetch the film of a comparison", "Fetch the film."
            ),
            media=("video/mp4",),
            content="H.264, side by side, event by event.",
        ),
        Result(
            "pictures/{name}",
            OperationText(
                "read_comparison_picture",
                "Fetch a picture of a comparison",
                "Fetch a picture of one event on both sides, at the same body size.",
            ),
            media=("image/jpeg",),
            content="The picture.",
        ),
    ),
)
progress = _router(
    WorkKind.PROGRESS,
    "a player's progress",
    ProgressRequest,
    lambda wired, session, principal, body, player_id: wired.requests.progress(
        session, principal, _named(player_id), body
    ),
    (
        "Work out a player's progress",
        "Work out gain, retention and transfer over all sessions that hold a completed analysis, "
        "and\nwhen to film the next retention check.",
    ),
    (
        "list_progress",
        "List a player's progress documents",
        "List the progress documents of a player, newest first.",
    ),
    (
        _document(WorkKind.PROGRESS, "a player's progress", Progress, "progress.v1.json"),
        _report(WorkKind.PROGRESS, "a player's progress"),
    ),
)
plans = _router(
    WorkKind.PLAN,
    "a practice plan",
    PlanRequest,
    lambda wired, session, principal, body, player_id: wired.requests.plan(
        session, principal, _named(player_id), body
    ),
    (
        "Make a practice plan",
        "Make a plan by the shipped rules or a coach's own: one focus at a time, ordered by "
        "effect\nand certainty, with a progression of drills and measured criteria to move on.",
    ),
    (
        "list_plans",
        "List a player's plans",
        "List the practice plans of a player, newest first.",
    ),
    (
        _document(WorkKind.PLAN, "a practice plan", PracticePlan, "practice-plan.v1.json"),
        _report(WorkKind.PLAN, "a practice plan"),
    ),
)
drill_checks = _router(
    WorkKind.DRILL_CHECK,
    "a drill check",
    DrillCheckRequest,
    lambda wired, session, principal, body, _: wired.requests.drill_check(session, principal, body),
    (
        "Judge the clips of a drill",
        "Judge the clips of a drill by its exit criteria: advance, repeat, go back or film again.",
    ),
    ("list_drill_checks", "List drill checks, newest first", "List drill checks, newest first."),
    (_document(WorkKind.DRILL_CHECK, "a drill check", DrillOutcome, "drill-outcome.v1.json"),),
)


def _named(player_id: str | None) -> str:
    """Return the player that the address begins with."""
    assert player_id is not None
    return player_id
