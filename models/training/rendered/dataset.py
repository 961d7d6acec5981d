"""Reading truth files, plain or gzipped."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

#: the set committed with the project
COMMITTED = Path(__file__).resolve().parents[3] / "tests" / "data" / "rendered"


def load_truth(path: Path) -> dict[str, Any]:
    """The truth beside a film: `path` is the film, the truth or its common stem."""
    stem = path.with_suffix("") if path.suffix in (".mp4", ".json") else path
    stem = stem.with_suffix("") if path.name.endswith(".json.gz") else stem
    stem = stem.with_suffix("") if stem.suffix == ".json" else stem
    plain, packed = stem.with_suffix(".json"), stem.with_suffix(".json.gz")
    if plain.exists():
        truth: dict[str, Any] = json.loads(plain.read_text(encoding="utf-8"))
    else:
        truth = json.loads(gzip.decompress(packed.read_bytes()))
    if truth.get("format") != "serveclips-truth-1":
        raise ValueError(f"{path} is not a serveclips-truth-1 file")
    return truth


def clips(folder: Path = COMMITTED) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Films of a folder with their truth, by name."""
    for film in sorted(folder.glob("*.mp4")):
        yield film, load_truth(film)
