"""Linter, formatter and types, so that the one test command covers them."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = Path(__file__).resolve().parents[2]
TYPED = (
    *("models", "workers", "service"),
    *("infra/demo.py", "infra/examples/receiver.py", "infra/examples/club_story.py"),
    "infra/clients/python/servewright_client",
)
LONGEST_MODULE = 400
GENERATED = "Generated, not edited."
"""Marks tables written by a command, in the first line of their docstring."""


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=PROJECT, capture_output=True, text=True, check=False
    )


def test_ruff_finds_nothing() -> None:
    done = run("ruff", "check", "--no-cache", "--quiet", ".")
    assert done.returncode == 0, done.stdout[-4000:]


def test_everything_is_formatted() -> None:
    done = run("ruff", "format", "--no-cache", "--check", "--quiet", ".")
    assert done.returncode == 0, done.stdout[-4000:]


@pytest.mark.timeout(600)
def test_types_are_strict() -> None:
    done = run("mypy", *TYPED)
    assert done.returncode == 0, done.stdout[-6000:]


def test_modules_stay_short_and_have_telling_names() -> None:
    files = [
        path
        for top in ("models", "service", "workers", "infra")
        for path in (PROJECT / top).rglob("*.py")
        if "migrations" not in path.parts
    ]
    long = [
        str(p.relative_to(PROJECT))
        for p in files
        if len((text := p.read_text()).splitlines()) > LONGEST_MODULE
        and GENERATED not in text.split("\n\n", 1)[0]
    ]
    assert long == []
    vague = [str(p.relative_to(PROJECT)) for p in files if p.stem in {"utils", "helpers", "common"}]
    assert vague == []


def product_modules() -> Iterator[tuple[str, list[ast.stmt]]]:
    """Each module that serves or measures: its path and its statements."""
    for top in ("models", "service", "workers"):
        for path in sorted((PROJECT / top).rglob("*.py")):
            if not {"training", "convert", "migrations"} & set(path.parts):
                yield str(path.relative_to(PROJECT)), ast.parse(path.read_text()).body


def is_number(value: ast.expr) -> bool:
    """Numbers, and what is worked out from numbers alone: ``1 << 20``, ``np.radians(4.0)``."""
    match value:
        case ast.Constant(value=given):
            return isinstance(given, int | float) and not isinstance(given, bool)
        case ast.UnaryOp(operand=inner):
            return is_number(inner)
        case ast.BinOp(left=left, right=right):
            return is_number(left) and is_number(right)
        case ast.Tuple(elts=parts) | ast.List(elts=parts):
            return bool(parts) and all(map(is_number, parts))
        case ast.Call(args=args, keywords=keywords):
            parts = [*args, *(keyword.value for keyword in keywords)]
            return bool(parts) and all(map(is_number, parts))
    return False


def undocumented_numbers(body: list[ast.stmt]) -> list[str]:
    """Names of upper-case constants of numbers that no docstring follows."""
    found = []
    for statement, below in zip(body, [*body[1:], None], strict=True):
        match statement:
            case ast.Assign(targets=targets, value=value):
                pass
            case ast.AnnAssign(target=target, value=ast.expr() as value):
                targets = [target]
            case _:
                continue
        parts = [p for t in targets for p in (t.elts if isinstance(t, ast.Tuple) else [t])]
        names = [part.id for part in parts if isinstance(part, ast.Name) and part.id.isupper()]
        match below:
            case ast.Expr(value=ast.Constant(value=str())):
                continue
        if names and is_number(value):
            found.append(", ".join(names))
    return found


def test_numbers_without_a_docstring_are_found() -> None:
    lines = (
        *("A = 1", "'''Metres.'''", "B, C = 1.0, -2", "D = np.radians(4.0)"),
        *("e = 3", "F = len(x)", "G: int = 1 << 3", "H = 'text'"),
    )
    assert undocumented_numbers(ast.parse("\n".join(lines)).body) == ["B, C", "D", "G"]


def test_each_constant_of_numbers_states_unit_and_source() -> None:
    # or that it is a working value
    bare = [
        f"{path}: {name}" for path, body in product_modules() for name in undocumented_numbers(body)
    ]
    assert bare == []


def test_one_class_a_name() -> None:
    places = defaultdict(list)
    for path, body in product_modules():
        for statement in body:
            if isinstance(statement, ast.ClassDef) and not statement.name.startswith("_"):
                places[statement.name].append(path)
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_lock_names_no_registry_and_pins_every_package() -> None:
    for name in ("requirements.txt", "requirements-test.txt"):
        text = (PROJECT / name).read_text()
        assert "://" not in text
        assert not re.search(r"^(-i|--index|--extra-index|--find)", text, re.MULTILINE)
        packages = re.findall(r"^[A-Za-z0-9][^\s;\\]*", text, re.MULTILINE)
        assert packages
        assert all("==" in package for package in packages)
        assert text.count("--hash=sha256:") >= len(packages)


def test_lock_satisfies_what_the_project_asks_for() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]
    runtime = [Requirement(text) for text in project["dependencies"]]
    extra = [Requirement(text) for text in project["optional-dependencies"]["test"]]
    for name, wanted in (("requirements.txt", runtime), ("requirements-test.txt", runtime + extra)):
        pinned = {
            canonicalize_name(package): version
            for package, version in re.findall(
                r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)",
                (PROJECT / name).read_text(),
                re.M,
            )
        }
        for requirement in wanted:
            version = pinned.get(canonicalize_name(requirement.name))
            assert version is not None, f"{requirement.name} is not in {name}"
            assert version in requirement.specifier, f"{requirement} but {version} in {name}"


def test_only_the_agreed_things_lie_at_the_top() -> None:
    done = subprocess.run(
        ["git", "ls-tree", "--name-only", "HEAD"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        pytest.skip("not a git checkout")
    allowed = {
        *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "NOTICE", "pyproject.toml"),
        *("requirements.txt", "requirements-test.txt"),
        *("service", "workers", "models", "tests", "infra"),
    }
    extra = {name for name in done.stdout.split() if not name.startswith(".")} - allowed
    assert extra == set()
