"""``python -m models.training.record``: writes size and SHA-256 of the learned files down.

Run after a learned file in ``models/weights`` was made anew: the registry hands out no file whose
SHA-256 is not the recorded one. Manifest and cards are written; the rest of a card is text.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
from pathlib import Path
from typing import Any

from models.registry import FOLDER

LEARNED = {
    "calibration": ("Errors of metrics and events on film", "calibration.json"),
    "event_errors": ("How far off event times are", "event_errors.json"),
    "landmark_errors": ("Where the pose networks put landmarks", "landmark_errors.json"),
    "lift": ("Learned lift", "lift.onnx"),
    "repeat_shares": ("What films of one place err alike", "repeat_shares.json"),
}
"""Name to title and file in ``models/weights``."""
LICENCE = "Apache-2.0"
_STATED = re.compile(r"^- `models/weights/.*$", re.MULTILINE)


def entry(name: str, folder: Path) -> dict[str, Any]:
    """Return the manifest's record of one learned file as it is now."""
    title, file = LEARNED[name]
    data = (folder / "weights" / file).read_bytes()
    return {
        "name": name,
        "title": title,
        "file": file,
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "licence": LICENCE,
    }


def record(folder: Path = FOLDER) -> list[dict[str, Any]]:
    """Write manifest and cards of the learned files, and return the manifest's records."""
    entries = [entry(name, folder) for name in sorted(LEARNED)]
    manifest = folder / "manifest.json"
    body = json.loads(manifest.read_text("utf-8")) | {"learned": entries}
    for made in entries:
        card = folder / "cards" / f"{made['name']}.md"
        line = (
            f"- `models/weights/{made['file']}`, {made['bytes']} bytes, SHA-256 `{made['sha256']}`"
        )
        text, count = _STATED.subn(line, card.read_text("utf-8"))
        if count != 1:
            raise ValueError(f"{card.name} must state its file in one line")
        card.write_text(text, "utf-8")
    manifest.write_text(json.dumps(body, indent=2, ensure_ascii=False) + "\n", "utf-8")
    return entries


def main() -> None:
    """Command line of this module."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    for made in record():
        print(f"{made['name']}: {made['bytes']} bytes, {made['sha256']}")


if __name__ == "__main__":
    main()
