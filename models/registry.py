"""Networks and learned files by name: what is shipped, and its verified bytes.

The pose networks in the manifest are written by ``python -m models.convert``, what was learned
from films with known truth by ``python -m models.training.record``. A file is handed out only if
its SHA-256 is the recorded one; there is no way to load any other file.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from models.contract.errors import ModelFileDamaged, ModelUnknown
from models.packed import unpack

FOLDER = Path(__file__).resolve().parent


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Tensor(_Record):
    """One input or output: name, shape (numbers or named free axes), dtype, meaning."""

    name: str
    shape: tuple[int | str, ...]
    dtype: str
    meaning: str


class SourceFile(_Record):
    """A file inside the source package."""

    path: str
    sha256: str


class PackageSource(_Record):
    """The pinned registry package a network came from."""

    package: str
    version: str
    archive_sha256: str
    declared_licence: str
    files: tuple[SourceFile, ...]


class Weights(_Record):
    """How many numbers are stored in which way; the arithmetic is always fp32.

    ``lossless`` is False where kernels were rounded to eight bits.
    """

    stored_int8: int
    stored_fp16: int
    stored_fp32: int
    lossless: bool


class RuntimeDifference(_Record):
    """Largest absolute difference from the source runtime, and what was allowed."""

    output: str
    largest: float
    tolerance: float
    unit: str


class ConversionCheck(_Record):
    """The comparison made at conversion."""

    picture: str
    pictures: str
    differences: tuple[RuntimeDifference, ...]


class ModelEntry(_Record):
    """One shipped network; ``sha256`` and ``bytes`` are of the ONNX file packed in ``file``."""

    name: str
    title: str
    file: str
    sha256: str
    bytes: int
    licence: str
    licence_evidence: str
    origin: str
    source: PackageSource
    input: Tensor
    outputs: tuple[Tensor, ...]
    dropped_outputs: tuple[str, ...]
    weights: Weights
    check: ConversionCheck


class LearnedEntry(_Record):
    """One file that was learned from films with known truth; its card says how."""

    name: str
    title: str
    file: str
    sha256: str
    bytes: int
    licence: str


class Manifest(_Record):
    """Everything shipped, and the tool versions that converted the networks."""

    format: str
    made_with: dict[str, str]
    models: tuple[ModelEntry, ...]
    learned: tuple[LearnedEntry, ...]


@cache
def manifest(folder: Path = FOLDER) -> Manifest:
    """The manifest, parsed once.

    Raises
    ------
    ModelFileDamaged
        If the manifest is missing or not readable.
    """
    path = folder / "manifest.json"
    try:
        return Manifest.model_validate_json(path.read_bytes())
    except (OSError, ValueError) as error:
        raise ModelFileDamaged(
            f"{path.name} cannot be read. {ModelFileDamaged.advice()}"
        ) from error


def names(folder: Path = FOLDER) -> tuple[str, ...]:
    """Names of the shipped networks, sorted."""
    return tuple(entry.name for entry in manifest(folder).models)


def entry(name: str, folder: Path = FOLDER) -> ModelEntry:
    """The record of one network.

    Raises
    ------
    ModelUnknown
        If no network of that name is shipped.
    """
    for found in manifest(folder).models:
        if found.name == name:
            return found
    raise ModelUnknown(
        f"No pose model is called {name!r}; shipped are {', '.join(names(folder))}.",
        model=name,
    )


def learned(folder: Path = FOLDER) -> tuple[LearnedEntry, ...]:
    """The learned files, sorted by name."""
    return manifest(folder).learned


def load_learned(name: str, folder: Path = FOLDER) -> bytes:
    """The verified bytes of a learned file.

    Raises
    ------
    ModelUnknown
        If no learned file of that name is shipped.
    ModelFileDamaged
        If the file is missing or its SHA-256 is not the recorded one.
    """
    for record in learned(folder):
        if record.name == name:
            break
    else:
        raise ModelUnknown(f"No learned file is called {name!r}.", model=name)
    try:
        data = (folder / "weights" / record.file).read_bytes()
    except OSError as error:
        raise ModelFileDamaged(
            f"{record.file} is missing or unreadable. {ModelFileDamaged.advice()}", model=name
        ) from error
    return _verified(data, record)


def path(name: str, folder: Path = FOLDER) -> Path:
    """Where the file of a network lies (not verified)."""
    return folder / "weights" / entry(name, folder).file


def load(name: str, folder: Path = FOLDER) -> bytes:
    """The verified bytes of a network.

    Verifying and using the same bytes leaves no moment in which the file could be
    exchanged.

    Raises
    ------
    ModelUnknown
        If no network of that name is shipped.
    ModelFileDamaged
        If the file is missing or its SHA-256 is not the recorded one.
    """
    record = entry(name, folder)
    file = path(name, folder)
    try:
        data = unpack(file.read_bytes())
    except OSError as error:
        raise ModelFileDamaged(
            f"{record.file} is missing or unreadable. {ModelFileDamaged.advice()}", model=name
        ) from error
    except ValueError as error:
        raise ModelFileDamaged(
            f"{record.file} cannot be unpacked. {ModelFileDamaged.advice()}", model=name
        ) from error
    return _verified(data, record)


def _verified(data: bytes, record: ModelEntry | LearnedEntry) -> bytes:
    if hashlib.sha256(data).hexdigest() != record.sha256:
        raise ModelFileDamaged(
            f"{record.file} has {len(data)} bytes and another SHA-256 than recorded. "
            f"{ModelFileDamaged.advice()}",
            model=record.name,
        )
    return data
