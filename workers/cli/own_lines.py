"""``servewright lines``: a coach's own lines on the pictures of a result folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.vocabulary import Language
from models.words import catalogue
from workers.cli.console import LanguageOption, guarded, results


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("lines")(lines)


@guarded
def lines(
    folder: Annotated[
        Path, typer.Argument(exists=True, file_okay=False, help="A result folder of analyse.")
    ],
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="Annotations, JSON.")],
    language: LanguageOption = Language.ENGLISH,
) -> None:
    """Draw your own points, lines, angles and text on the pictures of a result, from its film.

    Coordinates are pixels of the upright film. The file is kept in the folder as annotations.json;
    pictures and report.html are made anew, and plan and compare show the lines too.
    """
    from models.contract.annotations import check_fit
    from models.contract.faces import Faces
    from service.core.settings import Settings
    from workers.cli.coaching import write_files
    from workers.cli.folders import from_folder
    from workers.cli.result_folder import OWN_LINES, own_lines_in
    from workers.jobs.configured import decode_limits
    from workers.pipeline.faces import face_cover
    from workers.pipeline.result_files import JPEG, ResultFile, json_file, page_file
    from workers.pipeline.stages import draw_pictures
    from workers.report.analysis_page import analysis_page

    own = own_lines_in(file)
    source = from_folder(folder)
    names = [name for name in source.pictures() if not name.endswith("-plain.jpg")]
    check_fit(own, names, source.analysis.clip.width, source.analysis.clip.height)
    film = source.film()
    if film is None:
        raise InvalidRequest(say(NoteCode.LINES_NEED_FILM, folder=str(folder)))
    track, bodies = source.joints()
    words = catalogue(language.value)
    pictures = draw_pictures(
        film,
        source.analysis,
        track,
        bodies,
        decode_limits(Settings()),
        words,
        own=own,
        cover=face_cover(track) if source.analysis.faces is Faces.HIDDEN else None,
    )
    kept = json_file(OWN_LINES.removesuffix(".json"), own)
    files = [kept, page_file(analysis_page(source.analysis, pictures, words=words))]
    files += [ResultFile(n, f"pictures/{n}", JPEG, data) for n, data in pictures.items()]
    write_files(files, folder)
    results().print(words("terminal.written", path=folder / "report.html"), markup=False)
