"""What an attempt adds to the counters of the installation when it ends."""

from __future__ import annotations

from service.core.claims import Claim
from service.core.wiring import Wiring
from workers.jobs.lease import Lease


def tally(wiring: Wiring, claim: Claim, lease: Lease, outcome: str) -> None:
    """Count how an attempt ended, and the seconds that its stages took.

    Parameters
    ----------
    outcome : str
        ``completed``, or the code of what ended it.
    """
    kind = claim.kind.value
    amounts: dict[tuple[str, ...], float] = {("attempts", kind, outcome): 1.0}
    for stage, seconds in lease.stage_seconds().items():
        amounts[("stage_seconds", kind, stage.value)] = seconds
        amounts[("stages", kind, stage.value)] = 1.0
    wiring.tallies.add(amounts)
