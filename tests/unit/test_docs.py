"""The documentation names everything there is, and nothing that is not."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import click
import pytest
import typer

from models.contract.webhook import EventType
from service.core.settings import PREFIX, Settings
from workers.cli.app import build

PROJECT = Path(__file__).resolve().parents[2]
README = (PROJECT / "README.md").read_text("utf-8")
EXAMPLE = (PROJECT / "infra" / "example.env").read_text("utf-8")
PAGES = [
    path
    for path in (PROJECT / "README.md", PROJECT / "DEVELOPERS.md", *PROJECT.glob("infra/**/*.md"))
    if path.is_file()
]


def missing(what: str, where: str, names: list[str]) -> str:
    return f"{len(names)} {what} missing in {where}:\n  " + "\n  ".join(names)


def commands(group: click.Group | None = None, before: str = "") -> list[str]:
    """Every command, sub-commands with their group: ``keys add``."""
    if group is None:
        top = typer.main.get_command(build())
        # Typer carries a copy of click, whose classes are no kin of the package's.
        return commands(top)  # type: ignore[arg-type]
    names = []
    for name, command in group.commands.items():
        names.append(before + name)
        if hasattr(command, "commands"):
            names += commands(command, f"{before}{name} ")  # type: ignore[arg-type]
    return names


def code(text: str) -> list[str]:
    """Words in backticks, and the lines of fenced blocks."""
    fenced = re.findall(r"^```[^\n]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    outside = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    lines = [line for block in fenced for line in block.splitlines()]
    return [line.split(" #")[0] for line in lines] + re.findall(r"`([^`\n]+)`", outside)


def called(text: str) -> list[list[str]]:
    """The words after ``servewright`` wherever it is called in code."""
    return [
        found.split()
        for piece in code(text)
        for found in re.findall(r"(?:^|[\s/;&|])servewright ((?:[a-z][\w-]* ?)+)", piece)
    ]


def test_every_setting_is_in_the_example_file() -> None:
    names = [PREFIX + name.upper() for name in Settings.model_fields]
    gone = [name for name in names if not re.search(rf"^(# )?{name}=", EXAMPLE, re.MULTILINE)]
    assert not gone, missing("settings", "infra/example.env", gone)


def test_every_command_is_in_the_readme() -> None:
    told = [" ".join(words) for words in called(README)]
    top = [name for name in commands() if " " not in name]
    assert len(top) > 5
    gone = [name for name in top if not any(f"{call} ".startswith(f"{name} ") for call in told)]
    assert not gone, missing("commands", "README.md", gone)


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(PROJECT)))
def test_commands_told_exist(page: Path) -> None:
    known = set(commands())
    groups = {name.partition(" ")[0] for name in known if " " in name}
    wrong = []
    for words in called(page.read_text("utf-8")):
        name = words[0]
        if name not in known:
            wrong.append(name)
        elif name in groups and words[1:] and f"{name} {words[1]}" not in known:
            wrong.append(f"{name} {words[1]}")
    assert not wrong, f"{page.name} calls commands that do not exist: {wrong}"


def test_every_webhook_event_is_in_the_readme() -> None:
    types = list(get_args(EventType))
    assert "analysis.completed" in types
    gone = [name for name in types if f"`{name}`" not in README]
    assert not gone, missing("webhook event types", "README.md", gone)


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(PROJECT)))
def test_settings_told_exist(page: Path) -> None:
    known = {PREFIX + name.upper() for name in Settings.model_fields}
    told = set(re.findall(rf"\b{PREFIX}[A-Z0-9_]*[A-Z0-9]\b(?!_?\*)", page.read_text("utf-8")))
    wrong = sorted(name for name in told - known if not name.startswith(f"{PREFIX}TEST_"))
    assert not wrong, f"{page.name} names settings that do not exist: {wrong}"


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(PROJECT)))
def test_links_lead_to_files_that_exist(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text("utf-8"))
    near = [
        target for target in targets if "://" not in target and not target.startswith("mailto:")
    ]
    broken = [target for target in near if not (page.parent / target).exists()]
    assert not broken, f"{page.name} links to files that do not exist: {broken}"


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(PROJECT)))
def test_paths_told_exist(page: Path) -> None:
    """Paths in backticks that begin with a folder of the project."""
    tops = "service|workers|models|tests|infra"
    told = [
        word.rstrip("/.,:;")
        for piece in code(page.read_text("utf-8"))
        for word in re.findall(rf"(?<![\w./-])((?:{tops})/[\w./*-]+)", piece)
        if "…" not in piece
    ]
    gone = [word for word in told if not list(PROJECT.glob(word))]
    assert not gone, f"{page.name} names paths that do not exist: {gone}"
