"""A practice plan."""

from __future__ import annotations

from pathlib import Path

from models.practice.rules import rules_of
from service.core.claims import Claim
from service.core.wiring import Wiring
from workers.derive.practice import plan_files, plan_headline
from workers.jobs.coach import from_coach
from workers.jobs.configured import decode_limits
from workers.jobs.lease import Lease
from workers.jobs.making import Made, language_of
from workers.jobs.shelf import sources_of


def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
    """Make the plan by the rules that were kept with the request."""
    found, files = plan_files(
        rules_of(claim.request["rules"]),
        sources_of(wiring, claim, lease, folder),
        decode_limits(wiring.settings),
        done=claim.request["done"],
        player=claim.player,
        minor=claim.minor,
        also_hidden=claim.minor,
        coach=from_coach(wiring, claim, lease),
        language=language_of(claim),
    )
    return Made(files, plan_headline(found))
