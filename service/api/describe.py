"""Write or check the committed OpenAPI document.

``python -m service.api.describe --write`` renews ``models/schemas/openapi.v1.json``; ``--check``
fails when it differs from what the application says.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

from models.contract.schemas import SCHEMA_DIR
from service.api.app import create_app
from service.core.settings import Settings

COMMITTED = SCHEMA_DIR / "openapi.v1.json"


def rendered() -> str:
    """Return the exact text of the document. Needs no running service."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Settings(data_dir=Path(folder), background=False))
        return _lines(app.openapi(), depth=3) + "\n"


def _lines(part: object, depth: int) -> str:
    """Return JSON with a line for each operation and schema: a change shows, and it is small."""
    if depth == 0 or not isinstance(part, dict) or not part:
        return json.dumps(part, ensure_ascii=False, separators=(",", ":"))
    entries = (f"{json.dumps(key)}:{_lines(value, depth - 1)}" for key, value in part.items())
    return "{\n" + ",\n".join(entries) + "\n}"


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    group = parser.add_mutually_exclusive_group(required=True)
    group.add_argument("--write", action="store_true")
    group.add_argument("--check", action="store_true")
    if parser.parse_args().write:
        COMMITTED.write_text(rendered(), "utf-8")
        return 0
    if not COMMITTED.is_file() or COMMITTED.read_text("utf-8") != rendered():
        print("the API changed: run python -m service.api.describe --write")
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
