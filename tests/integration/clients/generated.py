"""Makes a client from the OpenAPI document and tells a story with it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from models.contract.schemas import SCHEMA_DIR

PROJECT = Path(__file__).resolve().parents[3]
DOCUMENT = SCHEMA_DIR / "openapi.v1.json"
STORY = Path(__file__).with_name("generated_story.py")
# openapi-python-client 0.29 types the arguments of four `__exit__` as objects; that file is its
# template and holds nothing of the document.
MYPY = """\
[mypy]
strict = True
[mypy-servewright_generated.client]
disable_error_code = arg-type
"""


def environment(folder: Path) -> dict[str, str]:
    """Return an environment that finds what was generated, and nothing of this project."""
    kept = {name: value for name, value in os.environ.items() if "SERVEWRIGHT_" not in name}
    path = f"{Path(sys.executable).parent}:{kept.get('PATH', '')}"  # the generator calls ruff
    return kept | {"PATH": path, "PYTHONPATH": str(folder), "MYPYPATH": str(folder)}


def run(folder: Path, *command: str) -> str:
    """Run a Python module or file in a folder; return what it printed."""
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env=environment(folder),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return done.stdout


def generate(folder: Path) -> Path:
    """Write the client into a folder and return its package; a warning is a failure."""
    package = folder / "servewright_generated"
    run(
        folder,
        *("-m", "openapi_python_client", "generate", "--fail-on-warning", "--meta", "none"),
        *("--path", str(DOCUMENT), "--output-path", str(package)),
        *("--config", str(PROJECT / "infra" / "clients" / "generator.yaml")),
    )
    return package


def check_types(folder: Path) -> str:
    """Check the generated package and the story with mypy; return its last line."""
    config = folder / "mypy.ini"
    config.write_text(MYPY)
    told = run(
        folder,
        *("-m", "mypy", "--config-file", str(config), "--cache-dir", str(folder / "mypy-cache")),
        *("servewright_generated", str(STORY)),
    )
    return told.splitlines()[-1]


def tell(folder: Path, url: str, key: str, films: Sequence[Path], models: Sequence[str]) -> str:
    """Tell the story to a service; return what was printed."""
    return run(folder, str(STORY), url, key, *map(str, films), *models)
