"""Material for comparisons, progress and plans: result folders that ``analyse`` wrote, or films.

A folder holds no film. The film is looked for beside it and known by its SHA-256, so that pictures
are never drawn on another clip.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say

if TYPE_CHECKING:
    from models.contract.analysis import Analysis
    from models.contract.resources import AnalysisOptions
    from models.contract.tracks import BodyMotion, JointTrack
    from workers.derive.source import Source

FILMS = frozenset({".mp4", ".mov", ".m4v", ".webm", ".mkv"})


def read_analysis(folder: Path) -> Analysis:
    """Return the analysis in a result folder."""
    from models.contract.analysis import Analysis

    file = folder / "result.json"
    if not file.is_file():
        raise InvalidRequest(say(NoteCode.FOLDER_WITHOUT_RESULT, folder=str(folder)))
    try:
        return Analysis.model_validate_json(file.read_bytes())
    except ValidationError as error:
        raise InvalidRequest(say(NoteCode.RESULT_UNREADABLE, file=str(file))) from error


def read_joints(folder: Path, repetitions: int) -> tuple[JointTrack, Sequence[BodyMotion | None]]:
    """Return the track and the fitted bodies in a result folder."""
    from models.contract.joints import read_joints as read_document
    from models.contract.tracks import JointTrack

    try:
        track = JointTrack.from_npz((folder / "joints.npz").read_bytes())
        document = read_document((folder / "joints.json").read_bytes())
    except (OSError, ValueError) as error:
        raise InvalidRequest(say(NoteCode.JOINTS_UNREADABLE, folder=str(folder))) from error
    return track, document.motions(repetitions)


def read_pictures(folder: Path) -> dict[str, bytes]:
    """Return the pictures in a result folder by file name."""
    return {path.name: path.read_bytes() for path in sorted((folder / "pictures").glob("*.jpg"))}


def find_film(folder: Path, sha256: str | None) -> Path | None:
    """Return the film of a result: inside the folder or beside it, with the digest it had."""
    from workers.cli.analyse import sha256_of

    if sha256 is None:
        return None
    near = [*sorted(folder.iterdir()), *sorted(folder.resolve().parent.iterdir())]
    films = (path for path in near if path.suffix.lower() in FILMS and path.is_file())
    return next((path for path in films if sha256_of(path) == sha256), None)


def from_folder(folder: Path) -> Source:
    """Return the source that a result folder is."""
    from workers.derive.source import Source

    analysis = read_analysis(folder)
    return Source(
        name=folder.name,
        analysis=analysis,
        joints=lambda: read_joints(folder, len(analysis.repetitions)),
        film=functools.cache(lambda: find_film(folder, analysis.clip.sha256)),
        pictures=lambda: read_pictures(folder),
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
            found.append(from_folder(path))
        elif path.is_dir():
            inner = sorted(p for p in path.iterdir() if (p / "result.json").is_file())
            if not inner:
                raise InvalidRequest(say(NoteCode.FOLDER_WITHOUT_RESULTS, folder=str(path)))
            found += [from_folder(p) for p in inner]
        else:
            raise InvalidRequest(say(NoteCode.NO_SUCH_PATH, path=str(path)))
    return found
