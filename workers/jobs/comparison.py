"""The comparison of two sides."""

from __future__ import annotations

from pathlib import Path

from models.contract.vocabulary import RepetitionKind
from models.practice.rules import rules_of
from service.core.claims import Claim
from service.core.wiring import Wiring
from workers.derive.comparison import comparison_files, headline, sides
from workers.derive.model_serve import model_serve
from workers.jobs.coach import from_coach
from workers.jobs.configured import decode_limits
from workers.jobs.lease import Lease
from workers.jobs.making import Made, language_of
from workers.jobs.shelf import sources_of


def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
    """Compare the inputs marked ``first`` with those marked ``second``."""
    request = claim.request
    sources = sources_of(wiring, claim, lease, folder)
    marked = [(one.side or "", source) for one, source in zip(claim.inputs, sources, strict=True)]
    if (shipped := request.get("shipped")) is not None:
        marked.append((shipped, model_serve(wiring.settings.engine_seed)))
    first, second = sides(
        request["labels"]["first"], request["labels"]["second"], marked, request.get("models", ())
    )
    found, files = comparison_files(
        first,
        second,
        decode_limits(wiring.settings),
        kind=RepetitionKind(request["kind"]),
        film=request["film"],
        minor=claim.minor,
        also_hidden=claim.minor,
        same_player=request.get("same_player", False),
        focus=request.get("focus", ()),
        rules=rules_of(request.get("rules")),
        coach=from_coach(wiring, claim, lease),
        language=language_of(claim),
    )
    return Made(files, headline(found))
