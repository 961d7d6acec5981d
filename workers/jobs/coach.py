"""What a coach adds to the page of a piece of work, from its claim."""

from __future__ import annotations

from models.contract.errors import NoLongerKept
from models.contract.note_codes import NoteCode, say
from service.core.claims import Claim
from service.core.objects import ObjectMissing
from service.core.wiring import Wiring
from workers.jobs.lease import Lease
from workers.report.branded import Brand
from workers.report.from_coach import FromCoach, SpokenMessage


def brand_of(claim: Claim) -> Brand | None:
    """Return the look of the organisation that the work is of."""
    kept = claim.brand
    if kept is None:
        return None
    return Brand(kept.name, kept.colour, kept.logo, kept.logo_type)


def from_coach(wiring: Wiring, claim: Claim, lease: Lease) -> FromCoach:
    """Return message, voice and look.

    Raises
    ------
    NoLongerKept
        The voice message was removed after this work was asked for.
    """
    named = claim.request.get("voice")
    voice = None
    if named is not None:
        data = lease.patiently(lambda: _read(wiring, named["key"]))
        voice = SpokenMessage(named["media_type"], data)
    return FromCoach(claim.request.get("message"), voice, brand_of(claim))


def _read(wiring: Wiring, key: str) -> bytes:
    try:
        with wiring.objects.open(key) as stream:
            return stream.read()
    except ObjectMissing as error:
        raise NoLongerKept(say(NoteCode.VOICE_REMOVED)) from error
