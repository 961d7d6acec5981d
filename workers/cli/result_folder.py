"""A result folder: what ``analyse`` writes, and how it is read again.

A folder holds no film. The film is looked for beside it and known by its SHA-256, so that pictures
are never drawn on another clip.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from pydantic import ValidationError

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.contract.refusals import places_in_words
from models.words import english
from workers.cli.console import Exit, errors

if TYPE_CHECKING:
    from models.contract.analysis import Analysis
    from models.contract.annotations import Annotations
    from models.contract.tracks import BodyMotion, JointTrack
    from models.words import Words
    from workers.pipeline.run import PipelineResult

OWN_LINES = "annotations.json"
FILMS = frozenset({".mp4", ".mov", ".m4v", ".webm", ".mkv"})


def write_result(result: PipelineResult, folder: Path, words: Words | None = None) -> None:
    """Write the files of a result; pictures of an earlier run are removed first."""
    from workers.pipeline.result_files import SECOND_JOINTS, result_files

    try:
        folder.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(folder / "pictures", ignore_errors=True)
        for stale in ("film.mp4", SECOND_JOINTS):
            (folder / stale).unlink(missing_ok=True)
        for file in result_files(result, words):
            path = folder / file.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
    except OSError as error:
        errors().print(f"Cannot write to {folder}: {error.strerror}", style="red", markup=False)
        raise typer.Exit(Exit.INSTALLATION) from None


def sha256_of(file: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal."""
    with file.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


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
    from workers.joints_in.arrays import UNREADABLE

    try:
        track = JointTrack.from_npz((folder / "joints.npz").read_bytes())
        document = read_document((folder / "joints.json").read_bytes())
    except UNREADABLE as error:
        raise InvalidRequest(say(NoteCode.JOINTS_UNREADABLE, folder=str(folder))) from error
    return track, document.motions(repetitions)


def read_second_joints(folder: Path) -> JointTrack:
    """Return the track of the second film of a serve in a result folder."""
    from models.contract.tracks import JointTrack
    from workers.joints_in.arrays import UNREADABLE
    from workers.pipeline.result_files import SECOND_JOINTS

    try:
        return JointTrack.from_npz((folder / SECOND_JOINTS).read_bytes())
    except UNREADABLE as error:
        raise InvalidRequest(say(NoteCode.JOINTS_UNREADABLE, folder=str(folder))) from error


def read_pictures(folder: Path) -> dict[str, bytes]:
    """Return the pictures in a result folder by file name."""
    return {path.name: path.read_bytes() for path in sorted((folder / "pictures").glob("*.jpg"))}


def read_own_lines(folder: Path) -> Annotations | None:
    """Return the coach's own lines that lie in a result folder; None where there are none."""
    file = folder / OWN_LINES
    return own_lines_in(file) if file.is_file() else None


def own_lines_in(file: Path) -> Annotations:
    """Return the own lines in a file, or say which place of it is not valid."""
    from models.contract.annotations import Annotations

    try:
        return Annotations.model_validate_json(file.read_bytes())
    except ValidationError as error:
        places = tuple(places_in_words(error, english()))
        raise InvalidRequest(say(NoteCode.LINES_NOT_VALID, places=places)) from error


def find_film(folder: Path, sha256: str | None) -> Path | None:
    """Return the film of a result: inside the folder or beside it, with the digest it had."""
    if sha256 is None:
        return None
    near = [*sorted(folder.iterdir()), *sorted(folder.resolve().parent.iterdir())]
    films = (path for path in near if path.suffix.lower() in FILMS and path.is_file())
    return next((path for path in films if sha256_of(path) == sha256), None)
