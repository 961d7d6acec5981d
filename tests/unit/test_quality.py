"""Linter, formatter and types, so that the one test command covers them."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = Path(__file__).resolve().parents[2]
TYPED = (
    *("models", "workers", "service"),
    *("infra/demo.py", "infra/examples/receiver.py", "infra/examples/club_story.py"),
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
