"""Material for comparisons, progress and plans: result folders that ``analyse`` wrote, or films."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from models.contract.errors import InvalidRequest
from models.contract.faces import Faces
from models.contract.note_codes import NoteCode, say
from workers.cli.result_folder import (
    find_film,
    read_analysis,
    read_joints,
    read_own_lines,
    read_pictures,
)

if TYPE_CHECKING:
    from models.contract.resources import AnalysisOptions
    from workers.derive.source import Source


def from_folder(folder: Path, options: AnalysisOptions | None = None) -> Source:
    """Return the source that a result folder is.

    Raises
    ------
    InvalidRequest
        Faces are to be hidden, and the folder's pictures show them.
    """
    from workers.derive.source import Source

    analysis = read_analysis(folder)
    if options is not None and options.faces is Faces.HIDDEN is not analysis.faces:
        raise InvalidRequest(say(NoteCode.FACES_NEED_FILM, folder=str(folder)))
    return Source(
        name=folder.name,
        analysis=analysis,
        joints=lambda: read_joints(folder, len(analysis.repetitions)),
        film=functools.cache(lambda: find_film(folder, analysis.clip.sha256)),
        pictures=lambda: read_pictures(folder),
        own=read_own_lines(folder),
    )


def from_film(film: Path, options: AnalysisOptions | None = None) -> Source:
    """Analyse a film now and return it as a source."""
    from models.contract.resources import AnalysisOptions
    from workers.cli.analyse import run
    from workers.derive.source import Source

    result = run(film, options or AnalysisOptions(), None, pictures=True)
    return Source(
        name=film.name,
        analysis=result.analysis,
        joints=lambda: (result.track, result.bodies),
        film=lambda: film,
        pictures=lambda: result.pictures,
    )


def sources_of(paths: Sequence[Path], options: AnalysisOptions | None = None) -> list[Source]:
    """Return the sources of paths: a film, a result folder, or a folder of result folders."""
    found: list[Source] = []
    for path in paths:
        if path.is_file():
            found.append(from_film(path, options))
        elif (path / "result.json").is_file():
            found.append(from_folder(path, options))
        elif path.is_dir():
            inner = sorted(p for p in path.iterdir() if (p / "result.json").is_file())
            if not inner:
                raise InvalidRequest(say(NoteCode.FOLDER_WITHOUT_RESULTS, folder=str(path)))
            found += [from_folder(p, options) for p in inner]
        else:
            raise InvalidRequest(say(NoteCode.NO_SUCH_PATH, path=str(path)))
    return found
