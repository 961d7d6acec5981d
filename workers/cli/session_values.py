"""``servewright session-values``: one value a metric of a session filmed from several places."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from models.contract.vocabulary import Language, RepetitionKind
from models.words import catalogue
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
    material: Annotated[
        list[Path],
        typer.Argument(help="Films, result folders of analyse, or folders of such folders."),
    ],
    kind: Annotated[RepetitionKind, typer.Option(help="Which repetitions count.")] = (
        RepetitionKind.SERVE
    ),
    minor: Annotated[bool, typer.Option("--minor", help="The player may be under 18.")] = False,
    language: LanguageOption = Language.ENGLISH,
    out: Annotated[Path | None, typer.Option(help="Folder for the document.")] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print the document, and nothing else.")
    ] = False,
) -> None:
    """One value a metric of one session, whose serves were filmed from several places in turn.

    Each is taken from where it can be seen; places count by how sure they are, and it is told where
    they disagree.
    """
    from models.contract.resources import AnalysisOptions
    from workers.cli.coaching import write_files
    from workers.cli.folders import sources_of
    from workers.decide.session_values import session_values as work_out
    from workers.derive.source import with_minor_cautions
    from workers.pipeline.result_files import document_text, json_file

    sources = sources_of(material, AnalysisOptions(language=language, drill=kind))
    found = work_out([(one.name, one.analysis) for one in sources], kind)
    found = found.model_copy(update={"cautions": with_minor_cautions(found.cautions, minor)})
    if json:
        sys.stdout.write(document_text(found))
    else:
        show(found, results(), catalogue(language.value))
    if out is not None:
        write_files([json_file("result", found)], out)


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
