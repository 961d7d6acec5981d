"""``servewright session-values``: one value a metric of a session filmed from several places."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.faces import Faces
from models.contract.vocabulary import Language, RepetitionKind
from models.words import catalogue
from workers.cli.coaching import (
    FacesOption,
    Json,
    Material,
    Message,
    Minor,
    Out,
    Rules,
    VoiceFile,
    finish,
    from_coach,
    own_rules,
)
from workers.cli.console import LanguageOption, guarded, results

if TYPE_CHECKING:
    from rich.console import Console

    from models.contract.session_values import FilmedPlace, SessionValue, SessionValues
    from models.words import Words


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("session-values")(session_values)


@guarded
def session_values(
    material: Material,
    kind: Annotated[RepetitionKind, typer.Option(help="Which repetitions count.")] = (
        RepetitionKind.SERVE
    ),
    rules: Rules = None,
    player: Annotated[str | None, typer.Option(help="What to call the player.")] = None,
    faces: FacesOption = Faces.SHOWN,
    minor: Minor = False,
    message: Message = None,
    voice: VoiceFile = None,
    language: LanguageOption = Language.ENGLISH,
    out: Out = None,
    json: Json = False,
) -> None:
    """One value a metric of one session, whose serves were filmed from several places in turn.

    Each is taken from where it can be seen; places count by how sure they are, and it is told where
    they disagree. Document and report go to ./session.
    """
    from models.contract.resources import AnalysisOptions
    from workers.cli.folders import sources_of
    from workers.derive.session import session_files

    sources = sources_of(material, AnalysisOptions(language=language, drill=kind, faces=faces))
    found, files = session_files(
        sources,
        kind=kind,
        rules=own_rules(rules),
        player=player,
        minor=minor,
        coach=from_coach(message, voice),
        language=language,
    )
    if not json:
        show(found, results(), catalogue(language.value))
    finish(found, files, out, Path("session"), json, language)


def show(found: SessionValues, console: Console, words: Words) -> None:
    """Print the places, the values, and what is not measurable."""
    for number, place in enumerate(found.places, start=1):
        console.print(_place(number, place, words), markup=False)
    for value in found.values:
        if value.value is not None:
            console.print(_line(value, words), markup=False)
            if value.agree is False:
                said = "; ".join(
                    f"{one.place}: {words.value(one.value, value)}" for one in value.places
                )
                console.print(words("terminal.places_agree_not", said=said), markup=False)
    missing = [words.title(value) for value in found.values if value.value is None]
    if missing:
        titles = "; ".join(dict.fromkeys(missing))
        console.print(words("terminal.session_not", titles=titles), markup=False)
    for one in found.notes:
        console.print(f"- {words.note(one)}", markup=False)


def _place(number: int, place: FilmedPlace, words: Words) -> str:
    view = words("terminal.place_both") if place.both_views else words(f"view.{place.view.value}")
    count = place.repetitions
    if place.azimuth_deg is None:
        return words("terminal.place_unknown", number=number, view=view, count=count)
    return words(
        "terminal.place", number=number, view=view, azimuth=round(place.azimuth_deg), count=count
    )


def _line(value: SessionValue, words: Words) -> str:
    assert value.value is not None
    assert value.low is not None
    assert value.high is not None
    title = words.title(value)
    if value.event is not None:
        title += f" ({words.inside(words.event(value.event))})"
    counted = [(one.place, round(100 * one.weight)) for one in value.places]
    shares = [f"{place} ({share} %)" for place, share in counted if share]
    return words(
        "terminal.session_value",
        title=title,
        value=words.value(value.value, value),
        interval=words.interval(value.low, value.high, value),
        places=", ".join(shares),
    )
