"""The package stands on its own: nothing of the service is imported."""

from __future__ import annotations

import ast
import sys
import tomllib
from pathlib import Path

import servewright_client
from servewright_client.transport import VERSION

HERE = Path(servewright_client.__file__).resolve().parent


def test_it_imports_its_dependencies_and_nothing_else() -> None:
    imported = set()
    for path in HERE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                imported.add(str(node.module).partition(".")[0])
    assert imported - sys.stdlib_module_names == {"httpx", "servewright_client", "standardwebhooks"}


def test_version_is_told_once() -> None:
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text())["project"]
    assert project["version"] == VERSION


def test_all_that_is_public_is_there() -> None:
    assert [n for n in servewright_client.__all__ if not hasattr(servewright_client, n)] == []
    assert servewright_client.__all__ == sorted(servewright_client.__all__)
