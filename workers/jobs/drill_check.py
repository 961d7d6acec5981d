"""The judgement of the clips of a drill."""

from __future__ import annotations

from pathlib import Path

from models.practice.rules import rules_of
from service.core.claims import Claim
from service.core.wiring import Wiring
from workers.derive.practice import drill_files, drill_headline
from workers.jobs.lease import Lease
from workers.jobs.making import Made
from workers.jobs.shelf import sources_of


def make(wiring: Wiring, claim: Claim, lease: Lease, folder: Path) -> Made:
    """Judge the inputs by the rules that were kept with the request."""
    request = claim.request
    found, files = drill_files(
        rules_of(request["rules"]),
        request["finding"],
        request["drill"],
        sources_of(wiring, claim, lease, folder),
        minor=claim.minor,
    )
    return Made(files, drill_headline(found))
