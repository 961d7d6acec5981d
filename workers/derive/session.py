"""The files of one session, filmed from several places in turn: document and report."""

from __future__ import annotations

from collections.abc import Sequence

from models.contract.plan import PracticeRules
from models.contract.session_values import FilmedPlace, SessionValues
from models.contract.vocabulary import EventName, Language, RepetitionKind
from models.practice.rules import shipped_rules, thresholds_of
from models.words import catalogue
from workers.decide.session_values import session_values
from workers.derive.source import Source, best_repetition, with_minor_cautions
from workers.pipeline.result_files import ResultFile, json_file, page_file
from workers.report.from_coach import NOTHING, FromCoach
from workers.report.instants import instants_of
from workers.report.pictures import picture_name
from workers.report.session_page import PlacePicture, session_page

BOTH = (EventName.LOADING, EventName.CONTACT)
"""What heads the page of a session that was filmed from one place."""


def session_files(
    sources: Sequence[Source],
    *,
    kind: RepetitionKind = RepetitionKind.SERVE,
    rules: PracticeRules | None = None,
    player: str | None = None,
    minor: bool = False,
    coach: FromCoach = NOTHING,
    language: Language = Language.ENGLISH,
) -> tuple[SessionValues, tuple[ResultFile, ...]]:
    """Return the values of one session and their files.

    Parameters
    ----------
    sources : sequence of Source
        The session's analyses; no serve is in two of them.
    rules : PracticeRules or None
        What values are held against; None = the shipped ones.
    """
    found = session_values([(one.name, one.analysis) for one in sources], kind)
    found = found.model_copy(update={"cautions": with_minor_cautions(found.cautions, minor)})
    pictures = [
        PlacePicture(number, event, picture)
        for number, place in enumerate(found.places, start=1)
        for event in ((EventName.LOADING,) if len(found.places) > 1 else BOTH)
        if (picture := _picture(place, event, sources, kind)) is not None
    ]
    page = session_page(
        found,
        pictures,
        thresholds=thresholds_of(rules or shipped_rules()),
        player=player,
        coach=coach,
        words=catalogue(language.value),
    )
    return found, (json_file("result", found), page_file(page))


def _picture(
    place: FilmedPlace, event: EventName, sources: Sequence[Source], kind: RepetitionKind
) -> bytes | None:
    """Return an instant as a place shows it, of its surest repetition; None without one."""
    best = best_repetition([one for one in sources if one.name in place.analyses], kind)
    if best is None:
        return None
    source, number, repetition = best
    shown = next((i for i in instants_of(repetition) if event in i.events), None)
    if shown is None:
        return None
    pictures = source.pictures()
    names = [
        picture_name(repetition, number + 1, shown.events[0], plain=plain)
        for plain in (True, False)
    ]
    return next((pictures[name] for name in names if name in pictures), None)
